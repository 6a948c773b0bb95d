import { describe, expect, test } from "vitest";
import { smearSpeedOf, type SmearSpectrum } from "../../../core/activity/smear.ts";
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

type Shot = {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly rgb: Uint8Array;
  readonly exposureSeconds: number;
  readonly openedSeconds: number;
};

/** The spectra of frames, and the motion that the meter gives for the newest. */
function meterShots(shots: readonly Shot[]): {
  spectra: readonly SmearSpectrum[];
  motion: CurtainMotion;
} {
  let state = startMeter({ focalLengthMm: 16, pixelPitchUm: 6, fullWidthPx: 6000 });
  let motion: CurtainMotion = { kind: "unknown", why: "no frame" };
  for (const { exposureSeconds, openedSeconds, ...image } of shots) {
    const result = meterFrame(state, {
      ...image,
      exposure: { exposureSeconds, iso: 1600, fNumber: 2.8 },
      openedMs: monotonicMs(openedSeconds * 1000),
    });
    state = result.state;
    motion = result.reading.motion;
  }
  return { spectra: state.motion.spectra, motion };
}

/** Exposures one after the other, two seconds apart. */
function openings(exposures: readonly number[]): number[] {
  let at = 0;
  return exposures.map((seconds) => {
    const opened = at;
    at += seconds + 2;
    return opened;
  });
}

function renderRays(degPerSecond: number, exposures: readonly number[]): Shot[] {
  const sky = driftingCurtainScene({ degPerSecond, luminanceCdM2: 4e-3, widthDeg: 2 });
  const opened = openings(exposures);
  return exposures.map((exposureSeconds, index) => ({
    ...renderFrame({
      sky,
      openedUtcMs: utcMs(SCENE_START_UTC_MS + opened[index]! * 1000),
      exposure: { exposureSeconds, iso: 12800 / exposureSeconds, fNumber: 2.8 },
      widthPx: 360,
      heightPx: 240,
      lens: { focalLengthMm: 16 },
      sensor: FULL_FRAME_SENSOR,
      toneCurve: TONE_CURVES.mild,
      random: createRandom(`frame ${index}`),
      memory,
    }),
    widthPx: 360,
    heightPx: 240,
    exposureSeconds,
    openedSeconds: opened[index]!,
  }));
}

function paintFolds(
  exposures: readonly number[],
  skyOf: (index: number) => Partial<PaintedSky>,
): Shot[] {
  const random = createRandom("folds");
  const opened = openings(exposures);
  const size = { widthPx: 300, heightPx: 200 };
  return exposures.map((exposureSeconds, index) => ({
    ...size,
    rgb: paintFrame({
      sky: paintedSky(random, { ...size, degPerPx: 0.43, ...skyOf(index) }),
      startSeconds: opened[index]!,
      exposure: { exposureSeconds, iso: 1600, fNumber: 2.8 },
      exposureStops: 0,
      curve: sRgbCurve,
      random,
    }).rgb,
    exposureSeconds,
    openedSeconds: opened[index]!,
  }));
}

function newestBySmear(shots: readonly Shot[]): number | null {
  const { spectra } = meterShots(shots);
  return smearSpeedOf(spectra.at(-1)!, spectra.slice(0, -1));
}

describe("the smear of rays that drift", () => {
  test.each([
    [0.1, [3, 14]],
    [0.2, [2, 8]],
    [0.35, [1, 4]],
    [0.5, [6, 10]],
  ])("by %f °/s gives their speed within 25 %% from exposures of %j s", (speed, exposures) => {
    const found = newestBySmear(renderRays(speed, exposures));
    expect(found! / speed).toBeGreaterThan(0.75);
    expect(found! / speed).toBeLessThan(1.25);
  });

  test("agrees with the shift between the frames, which is what the meter gives", () => {
    const shots = renderRays(0.2, [3, 12, 3]);
    const bySmear = newestBySmear(shots)!;
    const { motion } = meterShots(shots);
    expect(motion.kind).toBe("measured");
    if (motion.kind === "measured") expect(bySmear / motion.degPerSecond).toBeCloseTo(1, 0);
  });
});

describe("the smear tells the speed where no frame can be matched to another", () => {
  // Narrow folds, in every frame others: only how sharp they are remains the same.
  const others = (seed: number) => (index: number) => ({
    driftDegPerSecond: 0.5,
    texture: paintTexture(createRandom(`${seed} ${index}`), 128, 3),
  });

  test("in two of five skies that drift by 0.5 °/s, within 25 %, and in none wrongly", () => {
    let known = 0;
    for (const seed of [1, 2, 3, 4, 5]) {
      const { motion } = meterShots(paintFolds([3, 14, 3], others(seed)));
      if (motion.kind === "unknown") continue;
      known += 1;
      expect(motion.degPerSecond / 0.5, `seed ${seed}`).toBeGreaterThan(0.75);
      expect(motion.degPerSecond / 0.5, `seed ${seed}`).toBeLessThan(1.25);
    }
    expect(known).toBeGreaterThanOrEqual(2);
  });
});

describe("the smear says nothing", () => {
  test.each([
    ["of folds that stand still", { driftDegPerSecond: 0 }],
    ["of an even sky", { contrast: () => 0, driftDegPerSecond: 0.3 }],
    ["of folds too slow to be smeared", { driftDegPerSecond: 0.02 }],
  ])("%s", (_name, sky) => {
    const texture = paintTexture(createRandom("fold"), 128, 3);
    expect(newestBySmear(paintFolds([3, 14, 3], () => ({ texture, ...sky })))).toBeNull();
  });

  test("of frames so even, without any noise, that their spectra are nothing at all", () => {
    const even = (exposureSeconds: number, openedSeconds: number): Shot => ({
      widthPx: 300,
      heightPx: 200,
      rgb: new Uint8Array(300 * 200 * 3).fill(90),
      exposureSeconds,
      openedSeconds,
    });
    const shots = [even(3, 0), even(14, 5), even(3, 21)];
    expect(meterShots(shots).motion.kind).toBe("unknown");
    const { spectra } = meterShots(shots);
    expect(smearSpeedOf(spectra.at(-1)!, spectra.slice(0, -1))).toBeNull();
    const nothing = { ...spectra[0]!, across: new Float64Array(25), up: new Float64Array(25) };
    const later = { ...nothing, exposureSeconds: 14, midMs: nothing.midMs + 8000 };
    expect(smearSpeedOf(later, [nothing])).toBeNull();
  });

  test("when all exposures are of one length", () => {
    expect(newestBySmear(renderRays(0.3, [6, 6, 6]))).toBeNull();
  });

  test("of frames more than 45 s apart, or on maps of another scale", () => {
    const { spectra } = meterShots(renderRays(0.35, [2, 8]));
    const [shorter, longer] = [spectra[0]!, spectra[1]!];
    expect(smearSpeedOf(longer, [shorter])).not.toBeNull();
    const early = { ...shorter, midMs: longer.midMs - 46_000 };
    expect(smearSpeedOf(longer, [early])).toBeNull();
    const coarse = { ...shorter, stepDeg: shorter.stepDeg * 2 };
    expect(smearSpeedOf(longer, [coarse])).toBeNull();
  });
});
