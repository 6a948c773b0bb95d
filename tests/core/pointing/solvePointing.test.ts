import { describe, expect, it, test } from "vitest";
import type { Detection } from "../../../core/pointing/detection.ts";
import { detectionsOf } from "../../../core/pointing/detection.ts";
import {
  followPointing,
  solvePointing,
  type NightSky,
} from "../../../core/pointing/solvePointing.ts";
import { starTable } from "../../../core/pointing/starsAbove.ts";
import { lightTable, startToneResponse } from "../../../core/photometry/response.ts";
import { findStars } from "../../../core/photometry/starWidth.ts";
import { createRandom, type Random } from "../../../core/random.ts";
import { createSky, DEMO_NIGHT, HUT_SEVEN } from "../../../core/simulation/sky.ts";
import { separationDeg } from "../../../core/sky/angles.ts";
import { placeOf } from "../../../core/sky/place.ts";
import { utcMs } from "../../../core/units.ts";
import { tryPointing, WRONG_DEG } from "../../campaigns/pointing.ts";
import { makeFramePicture } from "../../support/renderedFrame.ts";
import { centreOf, starPointsOf, type StarScene } from "../../support/starPhotograph.ts";
import { starScene } from "../../support/starScenes.ts";

const TABLE = starTable();

function skyOf({ latitudeDeg, longitudeDeg, utcMs: atMs }: StarScene): NightSky {
  return { table: TABLE, place: placeOf({ latitudeDeg, longitudeDeg }), utcMs: utcMs(atMs) };
}

function hintOf({ widthPx, heightPx, focalLengthMm, sensorWidthMm }: StarScene) {
  return { widthPx, heightPx, pxPerRad: (Math.round(focalLengthMm) / sensorWidthMm) * widthPx };
}

/** A wide lens under a Finnish sky. */
function plainScene(random: Random, changes: Partial<StarScene> = {}): StarScene {
  return starScene(random, {
    ...{ latitudeDeg: 68.9, longitudeDeg: 27, utcMs: Date.UTC(2027, 1, 3, 20) },
    ...{ focalLengthMm: 16.2, sensorWidthMm: 36, heightPx: 1024, azimuthDeg: 338, altitudeDeg: 27 },
    ...changes,
  });
}

/** The brightest stars of a scene as they were detected, and as many points that are no stars. */
function detectionsIn(
  scene: StarScene,
  random: Random,
  counts: { readonly stars: number; readonly strays: number; readonly turnDeg?: number },
): readonly Detection[] {
  const stars = starPointsOf(scene)
    .slice(0, counts.stars)
    .map(({ x, y, magnitude }) => ({
      xPx: x + 0.12 * random.normal(),
      yPx: y + 0.12 * random.normal(),
      light: 10 ** (-0.4 * (magnitude + 0.4 * random.normal())),
    }));
  const strays = Array.from({ length: counts.strays }, () => ({
    xPx: random.uniform() * scene.widthPx,
    yPx: random.uniform() * scene.heightPx,
    light: stars[random.integer(stars.length)]?.light ?? random.uniform(),
  }));
  return [...stars, ...strays];
}

describe("where a lens points, from a cold start", () => {
  const trials = [...tryPointing({ count: 14, seed: "ci" })];
  const shown = trials.filter(({ shownCount }) => shownCount >= 20);

  it("is solved in every photograph of a dozen in which 20 stars show, and never wrongly", () => {
    expect(shown.length).toBeGreaterThanOrEqual(9);
    for (const trial of shown) expect(trial.isSolved, trial.seed).toBe(true);
    for (const { seed, centreOffDeg } of trials) {
      if (centreOffDeg !== null) expect(centreOffDeg, seed).toBeLessThan(WRONG_DEG);
    }
  });

  test.each(shown)("is right within 0.02° and 0.3 % of the scale in $seed", (trial) => {
    expect(trial.centreOffDeg!).toBeLessThan(0.02);
    expect(trial.centreOffDeg!).toBeLessThan(5 * trial.centreSigmaDeg!);
    expect(Math.abs(trial.tiltOffDeg!)).toBeLessThan(0.02);
    expect(Math.abs(trial.scaleOff!)).toBeLessThan(0.003);
  });

  test.each([1, 2, 3, 4, 5, 6])(
    "is found from eight stars among eight strays (seed %i)",
    (seed) => {
      const random = createRandom(`eight/${seed}`);
      const scene = plainScene(random, { axisPx: [0, 0], azimuthDeg: 60 * seed });
      const detections = detectionsIn(scene, random, { stars: 8, strays: 8 });
      const verdict = solvePointing(detections, skyOf(scene), hintOf(scene));
      expect(verdict.kind).toBe("solved");
      if (verdict.kind !== "solved") return;
      const offDeg = separationDeg(verdict.pointing.centre, centreOf(scene));
      expect(offDeg).toBeLessThan(0.3);
      expect(offDeg).toBeLessThan(5 * verdict.pointing.centreSigmaDeg);
    },
  );

  it("is found with half of sixty detections wrong, without knowing the focal length", () => {
    const random = createRandom("unknown focal length");
    const scene = plainScene(random);
    const detections = detectionsIn(scene, random, { stars: 30, strays: 30 });
    const verdict = solvePointing(detections, skyOf(scene), { ...hintOf(scene), pxPerRad: null });
    expect(verdict.kind).toBe("solved");
    if (verdict.kind !== "solved") return;
    expect(separationDeg(verdict.pointing.centre, centreOf(scene))).toBeLessThan(0.02);
    const trueScale = (scene.focalLengthMm / scene.sensorWidthMm) * scene.widthPx;
    expect(Math.abs(verdict.pointing.pxPerRad / trueScale - 1)).toBeLessThan(0.003);
  });

  test.each([20, 60, 200])("is not made up from %i points that are no stars", (strays) => {
    const random = createRandom(`strays/${strays}`);
    const scene = plainScene(random);
    const detections = detectionsIn(scene, random, { stars: 0, strays });
    expect(solvePointing(detections, skyOf(scene), hintOf(scene))).toEqual({
      kind: "unsolved",
      why: "noMatch",
    });
  });

  it("is not asked of seven points", () => {
    const random = createRandom("seven");
    const scene = plainScene(random);
    const detections = detectionsIn(scene, random, { stars: 7, strays: 0 });
    expect(solvePointing(detections, skyOf(scene), hintOf(scene))).toEqual({
      kind: "unsolved",
      why: "tooFewStars",
    });
  });

  it("is not found an hour off the time: the stars stand elsewhere", () => {
    const random = createRandom("an hour off");
    const scene = plainScene(random);
    const detections = detectionsIn(scene, random, { stars: 60, strays: 5 });
    const late = { ...skyOf(scene), utcMs: utcMs(scene.utcMs + 3_600_000) };
    const verdict = solvePointing(detections, late, hintOf(scene));
    // A turn of the sky about the pole is a turn of the camera: solved, but 15° about the pole off.
    if (verdict.kind === "solved") {
      expect(separationDeg(verdict.pointing.centre, centreOf(scene))).toBeGreaterThan(3);
    }
  });
});

describe("a frame of the demo's night", () => {
  it("points where the virtual camera looks, within 0.02°", () => {
    const sky = createSky({ ...DEMO_NIGHT, seed: "demo", place: HUT_SEVEN, scenario: "demo" });
    const openedUtcMs = utcMs(DEMO_NIGHT.startUtcMs + 4 * 3_600_000);
    const frame = makeFramePicture({
      ...{ sky, openedUtcMs, widthPx: 1536, heightPx: 1024 },
      exposure: { exposureSeconds: 8, iso: 3200, fNumber: 2.8 },
      lens: { focalLengthMm: 16 },
    });
    const field = findStars(
      { widthPx: 1536, heightPx: 1024, rgb: frame.rgb },
      { table: lightTable(startToneResponse()) },
    );
    const verdict = solvePointing(
      detectionsOf(field),
      {
        ...{ table: TABLE, place: placeOf(HUT_SEVEN), utcMs: utcMs(openedUtcMs + 4000) },
        air: { pressureHpa: 1010, temperatureC: 10 },
      },
      { widthPx: 1536, heightPx: 1024, pxPerRad: (16 / 36) * 1536 },
    );
    expect(verdict.kind).toBe("solved");
    if (verdict.kind !== "solved") return;
    const truth = { bearingDeg: HUT_SEVEN.azimuthDeg, elevationDeg: HUT_SEVEN.altitudeDeg };
    expect(separationDeg(verdict.pointing.centre, truth)).toBeLessThan(0.02);
    expect(Math.abs(verdict.pointing.tiltDeg)).toBeLessThan(0.02);
  });
});

describe("where a known camera points", () => {
  const random = createRandom("followed");
  const scene = plainScene(random);
  const first = solvePointing(
    detectionsIn(scene, random, { stars: 120, strays: 10 }),
    skyOf(scene),
    hintOf(scene),
  );
  if (first.kind !== "solved") throw new Error("the first frame must be solved");

  test.each([0, 0.02, 0.1, 0.5])("shows a bump of %f° within 0.004°", (bumpDeg) => {
    const later = {
      ...scene,
      utcMs: scene.utcMs + 20_000,
      altitudeDeg: scene.altitudeDeg - bumpDeg,
    };
    const detections = detectionsIn(later, random, { stars: 60, strays: 30 });
    const pointing = followPointing(detections, skyOf(later), first.pointing);
    expect(pointing).not.toBeNull();
    expect(separationDeg(pointing!.centre, centreOf(later))).toBeLessThan(0.004);
    const moved = separationDeg(pointing!.centre, first.pointing.centre);
    expect(Math.abs(moved - bumpDeg)).toBeLessThan(0.004);
  });

  it("is not followed over 8°: a cold start is due", () => {
    const later = { ...scene, azimuthDeg: scene.azimuthDeg + 8 };
    const detections = detectionsIn(later, random, { stars: 60, strays: 10 });
    expect(followPointing(detections, skyOf(later), first.pointing)).toBeNull();
  });
});
