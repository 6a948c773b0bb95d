import { describe, expect, it } from "vitest";

import { trailPx } from "../../support/trailPx.ts";
import { fieldOfViewDeg } from "../../../core/plan/kit.ts";
import { batteryHours, batteryShareAt, planBudget } from "../../../core/plan/budget.ts";
import {
  nearestIso,
  startingExposures,
  stoppingDown,
} from "../../../core/plan/startingExposures.ts";
import { driftPxPerSecond, trailLimits } from "../../../core/plan/trailLimits.ts";
import { kitWith } from "../../support/planFixtures.ts";

describe("a kit", () => {
  it("takes the pixel pitch from sensor class and image width: 6 µm for 6000 pixels on 36 mm", () => {
    expect(kitWith({ pixelPitchUm: undefined, imageWidthPx: 6000 }).pixelPitchUm).toBe(6);
    const crop = kitWith({ sensorClass: "crop", pixelPitchUm: undefined, imageWidthPx: 6000 });
    expect(crop.pixelPitchUm).toBeCloseTo(3.917, 3);
  });

  it("counts 25 MB for a raw frame of 24 million pixels (14 bit, packed to 0.6; common practice)", () => {
    expect(kitWith().bytesPerFrame / 1e6).toBeCloseTo(25.2, 1);
    expect(kitWith({ bytesPerFrame: 8e6 }).bytesPerFrame).toBe(8e6);
  });

  it("sees 96.7° by 73.7° through 16 mm on a full frame", () => {
    const { widthDeg, heightDeg } = fieldOfViewDeg(kitWith());
    expect(widthDeg).toBeCloseTo(96.73, 1);
    expect(heightDeg).toBeCloseTo(73.74, 1);
  });

  it.each([
    ["a lens of 0 mm", { focalLengthMm: 0 }, /focal length must be from 1 to 2000 mm, not 0/],
    ["a lens of NaN", { focalLengthMm: NaN }, /focal length/],
    ["no name", { name: "  " }, /Give the kit a name/],
    ["an aperture of 0", { fNumberWidest: 0 }, /widest aperture/],
    ["a class that is none", { sensorClass: "huge" as "crop" }, /sensor class must be one of/],
    ["an empty battery", { batteryWh: 0 }, /battery/],
    ["a pitch of 0", { pixelPitchUm: 0 }, /pixel pitch/],
  ])("with %s is refused in one sentence", (_name, change, sentence) => {
    expect(() => kitWith(change)).toThrow(sentence);
  });
});

describe("star-trail limits of a framing", () => {
  const south = { bearingDeg: 180, elevationDeg: 45 };

  it("drift at the axis as the plain formula says, whatever the declination", () => {
    // At 45° N due south 45° up the celestial equator stands; the pole stands due north.
    const kit = kitWith();
    const optics = { focalLengthMm: 16, pixelPitchUm: 6 };
    const atEquator = driftPxPerSecond(kit, { centre: south, latitudeDeg: 45 }, [0, 0]);
    expect(atEquator).toBeCloseTo(trailPx(1, optics), 6);
    const north = { bearingDeg: 0, elevationDeg: 45 };
    expect(driftPxPerSecond(kit, { centre: north, latitudeDeg: 45 }, [0, 0])).toBeCloseTo(0, 9);
  });

  it("drift off the axis is stretched by 1 / cos² along the equator (rectilinear lens)", () => {
    const kit = kitWith();
    const centre = { bearingDeg: 180, elevationDeg: 45 };
    // 12 mm to the side of 16 mm: the angle's cosine is 0.8.
    const edge = driftPxPerSecond(kit, { centre, latitudeDeg: 45 }, [12, 0]);
    const axis = driftPxPerSecond(kit, { centre, latitudeDeg: 45 }, [0, 0]);
    expect(edge / axis).toBeCloseTo(1 / 0.64, 3);
  });

  it("drift agrees with positions a second apart, found by turning the sky", () => {
    const kit = kitWith();
    const framing = { centre: { bearingDeg: 335, elevationDeg: 30 }, latitudeDeg: 69 };
    for (const [x, y] of [
      [0, 0],
      [18, 12],
      [-18, 12],
      [9, -6],
    ] as const) {
      expect(driftPxPerSecond(kit, framing, [x, y])).toBeCloseTo(turned(kit, framing, [x, y]), 4);
    }
  });

  it("counts nothing below the horizon", () => {
    const level = { bearingDeg: 180, elevationDeg: 0 };
    expect(driftPxPerSecond(kitWith(), { centre: level, latitudeDeg: 45 }, [0, -5])).toBe(0);
  });

  it("recommends 17.3 s for 16 mm at f/2.8 and 6 µm, by the simplified NPF formula's 17.38 s", () => {
    const limits = trailLimits({
      kit: kitWith(),
      centre: { bearingDeg: 335, elevationDeg: 30 },
      latitudeDeg: 69,
    });
    expect(limits.npfSimpleSeconds).toBeCloseTo(17.38, 2);
    expect(limits.recommendedSeconds).toBe(17.3);
    expect(limits.quickRuleSeconds).toBeCloseTo(31.25, 2);
    expect(limits.fastestPxPerSecond).toBeGreaterThan(limits.centrePxPerSecond);
  });

  it("recommends by drift where the sky is fast and pixels are fine", () => {
    const limits = trailLimits({
      kit: kitWith({ focalLengthMm: 24, fNumberWidest: 4, pixelPitchUm: 4.36 }),
      centre: south,
      latitudeDeg: 45,
    });
    // 4 pixels at the equator: 10.0 s.
    expect(limits.centreDriftSeconds).toBeCloseTo(10, 1);
    expect(limits.recommendedSeconds).toBeLessThan(limits.npfSimpleSeconds);
    expect(limits.recommendation).toMatch(/drift/);
  });

  it("has no drift limit with the frame's centre on the pole, and stops at 30 s", () => {
    const limits = trailLimits({
      kit: kitWith({ focalLengthMm: 8, fNumberWidest: 2.8 }),
      centre: { bearingDeg: 0, elevationDeg: 69 },
      latitudeDeg: 69,
    });
    expect(limits.centreDriftSeconds).toBeNull();
    expect(limits.recommendedSeconds).toBe(30);
  });
});

/** Pixels a star moves in a second, by turning its direction about the pole and projecting again. */
function turned(
  kit: ReturnType<typeof kitWith>,
  {
    centre,
    latitudeDeg,
  }: { centre: { bearingDeg: number; elevationDeg: number }; latitudeDeg: number },
  [xMm, yMm]: readonly [number, number],
): number {
  const rad = Math.PI / 180;
  const [az, el] = [centre.bearingDeg * rad, centre.elevationDeg * rad];
  const right = [Math.cos(az), -Math.sin(az), 0];
  const up = [-Math.sin(el) * Math.sin(az), -Math.sin(el) * Math.cos(az), Math.cos(el)];
  const ahead = [Math.cos(el) * Math.sin(az), Math.cos(el) * Math.cos(az), Math.sin(el)];
  const ray = [0, 1, 2].map((i) => kit.focalLengthMm * ahead[i]! + xMm * right[i]! + yMm * up[i]!);
  const angle = (15.0411 / 3600) * rad;
  const [ax, ay, az2] = [0, Math.cos(latitudeDeg * rad), Math.sin(latitudeDeg * rad)];
  const [x, y, z] = ray as [number, number, number];
  const along = ax * x + ay * y + az2 * z;
  const [c, s] = [Math.cos(angle), Math.sin(angle)];
  // Rodrigues' formula.
  const after = [
    x * c + (ay * z - az2 * y) * s + ax * along * (1 - c),
    y * c + (az2 * x - ax * z) * s + ay * along * (1 - c),
    z * c + (ax * y - ay * x) * s + az2 * along * (1 - c),
  ];
  const dot = (a: readonly number[], b: readonly number[]) =>
    a[0]! * b[0]! + a[1]! * b[1]! + a[2]! * b[2]!;
  const depth = dot(after, ahead) / kit.focalLengthMm;
  const moved = Math.hypot(dot(after, right) / depth - xMm, dot(after, up) / depth - yMm);
  return (moved * 1000) / kit.pixelPitchUm;
}

describe("starting exposures", () => {
  it("are the trade's: 15 s at ISO 1600 wide open, 5 s at ISO 5000 when curtains run", () => {
    const { quiet, lively } = startingExposures(kitWith(), 17.3);
    expect(quiet).toMatchObject({ exposureSeconds: 15, iso: 1600, fNumber: 2.8 });
    expect(lively).toMatchObject({ exposureSeconds: 5, iso: 5000, fNumber: 2.8 });
  });

  it("make up with ISO for stars that allow 8 s only, and never pass the comfort cap", () => {
    const { quiet } = startingExposures(kitWith(), 8);
    expect(quiet).toMatchObject({ exposureSeconds: 8, iso: 3200 });
    expect(startingExposures(kitWith({ isoComfortMax: 1600 }), 8).quiet.iso).toBe(1600);
  });

  it("tell what a stop down costs, and when it costs too much", () => {
    const kit = kitWith();
    const word = stoppingDown(kit, { exposureSeconds: 15, iso: 1600, fNumber: 2.8 });
    expect(word).toMatchObject({ fNumber: 4, stops: 1, iso: 3200 });
    const capped = kitWith({ isoComfortMax: 1600 });
    expect(stoppingDown(capped, { exposureSeconds: 15, iso: 1600, fNumber: 2.8 }).sentence).toMatch(
      /stay wide open/,
    );
  });

  it("name ISO values as cameras do", () => {
    expect([1500, 4800, 90].map(nearestIso)).toEqual([1600, 5000, 100]);
  });
});

describe("batteries in the cold", () => {
  it.each([
    // Common practice, no source: +20 1.0, 0 0.85, −10 0.7, −20 0.5, −30 0.3.
    [20, 1],
    [0, 0.85],
    [-10, 0.7],
    [-15, 0.6],
    [-20, 0.5],
    [-40, 0.3],
    [35, 1],
  ])("at %d °C keep %d of their energy", (temperature, share) => {
    expect(batteryShareAt(temperature)).toBeCloseTo(share, 9);
  });

  it("last 2.3 h at −20 °C with 16 Wh and 3.5 W", () => {
    expect(batteryHours(kitWith(), -20)).toBeCloseTo(2.3, 1);
  });
});

describe("the budget of a watch", () => {
  const start = {
    quiet: { exposureSeconds: 15, iso: 1600, fNumber: 2.8 },
    lively: { exposureSeconds: 4, iso: 6400, fNumber: 2.8 },
  };

  it("is 2250 frames, 94 s of film and 56 GB for ten hours at 16 s a frame", () => {
    const kit = kitWith({ bytesPerFrame: 25e6 });
    const { quiet, lively, batteries } = planBudget({
      kit,
      watchSeconds: 36_000,
      start,
      temperatureC: -20,
    });
    expect(quiet.frames).toBe(2250);
    expect(quiet.filmSeconds).toBeCloseTo(93.75, 2);
    expect(quiet.gigabytes).toBeCloseTo(56.25, 2);
    expect(quiet.cards).toBe(1);
    expect(lively.frames).toBe(7200);
    expect(lively.cards).toBe(2);
    expect(batteries).toBe(5);
  });

  it("is nothing without a watch", () => {
    const budget = planBudget({ kit: kitWith(), watchSeconds: 0, start, temperatureC: 0 });
    expect(budget).toMatchObject({ batteries: 0, quiet: { frames: 0, gigabytes: 0, cards: 0 } });
  });
});
