import { describe, expect, test } from "vitest";
import { meterFrame, startMeter } from "../../../core/photometry/meter.ts";
import type { CurtainMotion } from "../../../core/exposure/curtainMotion.ts";
import { createRandom } from "../../../core/random.ts";
import { FULL_FRAME_SENSOR, renderFrame, TONE_CURVES } from "../../../core/simulation/render.ts";
import { createRenderMemory } from "../../../core/simulation/renderMemory.ts";
import { driftingCurtainScene, SCENE_START_UTC_MS } from "../../support/scenes.ts";
import { monotonicMs, utcMs } from "../../../core/units.ts";
import {
  paintedSky,
  paintFrame,
  paintTexture,
  sRgbCurve,
  type PaintedSky,
} from "../../support/paintedSky.ts";

/** One for all the frames rendered here: what it keeps takes longer to work out than a frame. */
const memory = createRenderMemory();

const SPEEDS = [0.02, 0.06, 0.15, 0.5];
const SPACINGS = [2, 5, 16];
const CASES = SPEEDS.flatMap((speed) =>
  SPACINGS.map((spacing): [number, number] => [speed, spacing]),
);

type Shot = { rgb: Uint8Array; exposureSeconds: number; openedSeconds: number };

function measureAll(
  shots: readonly Shot[],
  size: { widthPx: number; heightPx: number },
): CurtainMotion[] {
  let state = startMeter({ focalLengthMm: 16, pixelPitchUm: 6, fullWidthPx: 6000 });
  return shots.map(({ rgb, exposureSeconds, openedSeconds }) => {
    const { reading, state: next } = meterFrame(state, {
      ...size,
      rgb,
      exposure: { exposureSeconds, iso: 1600, fNumber: 2.8 },
      openedMs: monotonicMs(openedSeconds * 1000),
    });
    state = next;
    return reading.motion;
  });
}

/** No measured speed off by more than 25 %, and as many of them measured as asked. */
function expectRight(motions: readonly CurtainMotion[], speed: number, measuredMin: number): void {
  let measured = 0;
  for (const motion of motions) {
    if (motion.kind === "unknown") {
      expect(motion.why.length).toBeGreaterThan(10);
      continue;
    }
    measured += 1;
    expect(motion.degPerSecond / speed).toBeGreaterThan(0.75);
    expect(motion.degPerSecond / speed).toBeLessThan(1.25);
    // 16 mm over 6 µm: 2666.7 pixels a radian.
    expect(motion.pxPerSecond).toBeCloseTo(((motion.degPerSecond * Math.PI) / 180) * 2666.7, 1);
  }
  expect(measured).toBeGreaterThanOrEqual(measuredMin);
}

describe.each(CASES)("rays that drift by %f °/s, a frame every %f s", (speed, spacing) => {
  test("are measured within 25 % in rendered frames, exposure smear included", () => {
    const sky = driftingCurtainScene({ degPerSecond: speed, luminanceCdM2: 4e-3, widthDeg: 5 });
    const exposureSeconds = Math.max(0.8, spacing - 2);
    const shots = Array.from({ length: 5 }, (_, index) => {
      const openedSeconds = index * spacing;
      const { rgb } = renderFrame({
        sky,
        openedUtcMs: utcMs(SCENE_START_UTC_MS + openedSeconds * 1000),
        exposure: { exposureSeconds, iso: Math.min(12800, 12800 / exposureSeconds), fNumber: 2.8 },
        widthPx: 360,
        heightPx: 240,
        lens: { focalLengthMm: 16 },
        sensor: FULL_FRAME_SENSOR,
        toneCurve: TONE_CURVES.mild,
        random: createRandom(`frame ${index}`),
        memory,
      });
      return { rgb, exposureSeconds, openedSeconds };
    });
    expectRight(measureAll(shots, { widthPx: 360, heightPx: 240 }), speed, 2);
  });
});

type PaintedNight = {
  readonly sky?: Partial<PaintedSky>;
  readonly spacing: number;
  readonly frames?: number;
  /** Exposure of each frame, seconds; default: all but two seconds of the spacing. */
  readonly exposureSeconds?: (index: number) => number;
  readonly starPxPerSecond?: number;
};

function paintAll(night: PaintedNight): Shot[] {
  const random = createRandom("painted");
  const sky = paintedSky(random, { widthPx: 300, heightPx: 200, degPerPx: 0.43, ...night.sky });
  return Array.from({ length: night.frames ?? 6 }, (_, index) => {
    const exposureSeconds = night.exposureSeconds?.(index) ?? Math.max(0.8, night.spacing - 2);
    const openedSeconds = index * night.spacing;
    const { rgb } = paintFrame({
      sky,
      startSeconds: openedSeconds,
      exposure: { exposureSeconds, iso: 1600, fNumber: 2.8 },
      exposureStops: 0,
      curve: sRgbCurve,
      random,
      starShiftPx: openedSeconds * (night.starPxPerSecond ?? 0),
    });
    return { rgb, exposureSeconds, openedSeconds };
  });
}

const SIZE = { widthPx: 300, heightPx: 200 };

describe("broad folds over the whole sky", () => {
  test.each([
    [0.05, 8],
    [0.2, 5],
    [0.5, 10],
  ])("drifting by %f °/s, a frame every %f s, are measured within 25 %", (speed, spacing) => {
    expectRight(
      measureAll(paintAll({ sky: { driftDegPerSecond: speed }, spacing }), SIZE),
      speed,
      3,
    );
  });

  test("are measured by the middles of exposures when their lengths alternate", () => {
    const shots = paintAll({
      sky: { driftDegPerSecond: 0.2 },
      spacing: 10,
      exposureSeconds: (index) => (index % 2 === 0 ? 8 : 2),
    });
    expectRight(measureAll(shots, SIZE), 0.2, 3);
  });

  test("that brighten by a stop from frame to frame are still measured", () => {
    const sky = { driftDegPerSecond: 0.1, base: (seconds: number) => 0.05 * 2 ** (seconds / 8) };
    expectRight(measureAll(paintAll({ sky, spacing: 8, frames: 4 }), SIZE), 0.1, 2);
  });
});

describe("says unknown", () => {
  const stars = Array.from({ length: 250 }, () => 0).map((_, index) => {
    const random = createRandom(`star ${index}`);
    return { x: 300 * random.uniform(), y: 200 * random.uniform(), light: 4 * random.uniform() };
  });

  test("of a first frame", () => {
    const [first] = measureAll(paintAll({ spacing: 5, frames: 1 }), SIZE);
    expect(first).toEqual({ kind: "unknown", why: "no earlier frame to compare with" });
  });

  test("of an even sky with nothing but noise", () => {
    const sky = { contrast: () => 0 };
    for (const motion of measureAll(paintAll({ sky, spacing: 5 }), SIZE)) {
      expect(motion.kind).toBe("unknown");
    }
  });

  test.each([5, 15])(
    "of a starry sky a frame every %i s: the stars' own motion is none",
    (spacing) => {
      const sky = { contrast: () => 0, stars };
      // Sidereal motion at the celestial equator: 0.00418 °/s, here 0.0097 px/s.
      const shots = paintAll({ sky, spacing, starPxPerSecond: 0.0097 });
      for (const motion of measureAll(shots, SIZE)) expect(motion.kind).toBe("unknown");
    },
  );

  test.each([4, 12])("of curtains that stand still, a frame every %i s", (spacing) => {
    const shots = paintAll({ sky: { driftDegPerSecond: 0, stars }, spacing, frames: 7 });
    for (const motion of measureAll(shots, SIZE)) {
      if (motion.kind === "measured") expect(motion.degPerSecond).toBeLessThan(0.012);
    }
  });

  test("when each frame shows another sky", () => {
    const shots = Array.from({ length: 6 }, (_, index) => {
      const texture = paintTexture(createRandom(`other ${index}`));
      const [shot] = paintAll({ sky: { texture }, spacing: 6, frames: 1 });
      return { ...shot!, openedSeconds: index * 6 };
    });
    for (const motion of measureAll(shots, SIZE)) expect(motion.kind).toBe("unknown");
  });

  test("when the curtains have left the range of the search", () => {
    const shots = paintAll({
      sky: { driftDegPerSecond: 4 },
      spacing: 10,
      exposureSeconds: () => 0.5,
    });
    for (const motion of measureAll(shots, SIZE)) expect(motion.kind).toBe("unknown");
  });

  test("of a 160 pixel thumbnail", () => {
    const shots = paintAll({ sky: { widthPx: 160, heightPx: 107, degPerPx: 0.8 }, spacing: 6 });
    for (const motion of measureAll(shots, { widthPx: 160, heightPx: 107 })) {
      expect(motion).toEqual({ kind: "unknown", why: "the preview is too small to show motion" });
    }
  });
});
