import { describe, expect, it } from "vitest";
import { framingStarsOf, type FramingStars } from "../../../core/pointing/framingStars.ts";
import { ovalCurve, ovalOver } from "../../../core/pointing/ovalOver.ts";
import type { Pointing } from "../../../core/pointing/pointing.ts";
import { separationDeg, type SkyDirection } from "../../../core/sky/angles.ts";
import { elevationOverDeg, KM_PER_DEG } from "../../../core/sky/auroraGeometry.ts";
import { directionOf } from "../../../core/sky/direction.ts";
import { placeOf } from "../../../core/sky/place.ts";
import { utcMs } from "../../../core/units.ts";

const PLACE = placeOf({ latitudeDeg: 64, longitudeDeg: 20 });
const AT = utcMs(Date.UTC(2027, 1, 3, 20));

/** A level 16 mm lens on a sensor of 36 mm that looks somewhere. */
function pointingAt({ bearingDeg, elevationDeg }: SkyDirection): Pointing {
  return {
    pose: {
      rotation: [
        directionOf(bearingDeg + 90, 0),
        directionOf(bearingDeg, elevationDeg + 90),
        directionOf(bearingDeg, elevationDeg),
      ],
      lens: {
        ...{ widthPx: 1536, heightPx: 1024, pxPerRad: (16 / 36) * 1536 },
        radial: [0, 0, 0, 0],
        axisPx: [0, 0],
      },
    },
    centre: { bearingDeg, elevationDeg },
    ...{ centreSigmaDeg: 0.004, tiltDeg: 0, tiltSigmaDeg: 0.003, pxPerRad: (16 / 36) * 1536 },
    ...{ scaleSigma: 1e-4, matches: [], rmsPx: 0.1, shownCount: 60, chanceLog10: -60 },
  };
}

function reportedOf(centre: SkyDirection): Extract<FramingStars, { kind: "solved" }> {
  const reported = framingStarsOf({
    ...{ pointing: pointingAt(centre), place: PLACE, utcMs: AT },
    optics: { acrossMm: 36, fullWidthPx: 6000, isSensorKnown: true },
  });
  if (reported.kind !== "solved") throw new Error("a solved frame tells");
  return reported;
}

describe("what a frame's stars tell while framing", () => {
  const oval = ovalOver(PLACE, AT);

  it("names the direction and how far beside it the oval stands", () => {
    const reported = reportedOf({ bearingDeg: oval.bearingDeg - 9, elevationDeg: 27 });
    const bearing = Math.round(oval.bearingDeg - 9 + 360) % 360;
    expect(reported.sentences[0]).toBe(
      `You point at ${bearing}° and 27° high; the oval stands 9° to the right.`,
    );
    expect(
      reportedOf({ bearingDeg: oval.bearingDeg + 12, elevationDeg: 27 }).sentences[0],
    ).toContain("12° to the left");
    expect(reported.sentences.at(-1)).toContain("No aid to navigation");
  });

  it("tells the lens: 16.0 mm, 5.0′ a pixel of the preview", () => {
    const reported = reportedOf({ bearingDeg: 0, elevationDeg: 27 });
    expect(reported.focalLengthMm).toBeCloseTo(16, 6);
    expect(reported.degPerPx * 60).toBeCloseTo(5.036, 2);
  });

  // 16 mm, 6 µm: 2.92 px in 15 s on the axis at declination 0, so 2 px in 10.3 s (PHYSICS of star
  // trails: 15.0411″ a second); the corner's stretch and its lower declinations make it less.
  it("holds the stars' trails by the frame's own declinations: longer toward the pole", () => {
    const north = reportedOf({ bearingDeg: 0, elevationDeg: 60 }).trailSecondsMax;
    const south = reportedOf({ bearingDeg: 180, elevationDeg: 26 }).trailSecondsMax;
    expect(south).toBeLessThan(10.3);
    expect(south).toBeGreaterThan(3);
    expect(north).toBeGreaterThan(1.05 * south);
  });

  it("draws the oval's border where plain geometry puts its nearest point", () => {
    const curve = ovalCurve(oval);
    const nearest = {
      bearingDeg: oval.bearingDeg,
      elevationDeg: elevationOverDeg(oval.groundDeg * KM_PER_DEG, 110),
    };
    const distances = curve.map((point) => separationDeg(point, nearest));
    expect(Math.min(...distances)).toBeLessThan(1.1);
    expect(Math.max(...curve.map(({ elevationDeg }) => elevationDeg))).toBeCloseTo(
      nearest.elevationDeg,
      1,
    );
    expect(
      reportedOf({ bearingDeg: oval.bearingDeg, elevationDeg: 20 }).oval.length,
    ).toBeGreaterThan(10);
    expect(reportedOf({ bearingDeg: oval.bearingDeg + 180, elevationDeg: 20 }).oval).toEqual([]);
  });

  it("marks the magnetic zenith where rays meet, in the middle when the camera looks there", () => {
    const [mark] = reportedOf(oval.magneticZenith).marks;
    expect(mark!.kind).toBe("magneticZenith");
    expect(mark!.x).toBeCloseTo(0.5, 6);
    expect(mark!.y).toBeCloseTo(0.5, 6);
  });

  it("marks where the Sun will come up, on the horizon of the frame that looks there", () => {
    const sun = reportedOf({ bearingDeg: 128, elevationDeg: 10 }).marks.find(
      ({ kind }) => kind === "sunrise",
    );
    expect(sun).toBeDefined();
    // 10° below the middle of a frame 67° high.
    expect(sun!.y).toBeGreaterThan(0.55);
    expect(sun!.y).toBeLessThan(0.72);
  });
});
