import { describe, expect, test } from "vitest";
import { reduceToCells } from "../../../core/photometry/cells.ts";
import { codesAtQuantiles } from "../../../core/photometry/codeQuantiles.ts";
import {
  lightOfCode,
  lightTable,
  responseUncertaintyStops,
  startToneResponse,
  type ToneResponse,
} from "../../../core/photometry/response.ts";
import {
  learnFrame,
  startResponseLearner,
  type ResponseLearner,
} from "../../../core/photometry/responseLearner.ts";
import { linearOfCode } from "../../../core/photometry/srgb.ts";
import { createRandom } from "../../../core/random.ts";
import { TONE_CURVES, toneCode } from "../../../core/simulation/toneCurve.ts";
import { monotonicMs } from "../../../core/units.ts";
import { HIDDEN_CURVES } from "../../support/hiddenCurves.ts";
import { paintedSky, paintFrame, type ToneCurve } from "../../support/paintedSky.ts";

const WIDTH = 180;
const HEIGHT = 120;

type Night = {
  readonly curve: ToneCurve;
  readonly name: string;
  /** Stops from mid-grey by which a frame is exposed, given the sky's own stops in the last one. */
  readonly expose: (frameIndex: number, skyStops: number, normal: () => number) => number;
  readonly frames?: number;
  readonly start?: ToneResponse;
};

/** A night of frames of a sky that drifts, brightens and dims by more than a stop. */
function liveNight({ curve, name, expose, frames = 40, start = startToneResponse() }: Night) {
  const random = createRandom(name);
  const sky = paintedSky(random, {
    widthPx: WIDTH,
    heightPx: HEIGHT,
    degPerPx: 0.716,
    base: (seconds) => 0.25 * 2 ** (0.8 * Math.sin(seconds / 70) + 0.3 * Math.sin(seconds / 23)),
    contrast: (seconds) => 2 + 1.5 * Math.sin(seconds / 40),
  });
  let learner: ResponseLearner = startResponseLearner(start);
  let response = start;
  let skyStops = Math.log2(0.5);
  let sureAt: number | null = null;
  for (let index = 0; index < frames; index += 1) {
    const exposureStops = expose(index, skyStops, () => random.normal());
    const exposure = { exposureSeconds: 4 * 2 ** exposureStops, iso: 1600, fNumber: 2.8 };
    const { rgb, light } = paintFrame({
      sky,
      startSeconds: index * 9,
      exposure: { ...exposure, exposureSeconds: 4 },
      exposureStops,
      curve,
      random,
    });
    const grid = reduceToCells(WIDTH, HEIGHT, rgb);
    const isMetered = new Uint8Array(grid.red.length).fill(1);
    const openedMs = monotonicMs(index * 9000);
    const learned = learnFrame(learner, codesAtQuantiles(grid, isMetered, { exposure, openedMs }));
    learner = learned.learner;
    response = learned.response ?? response;
    if (response.isSure) sureAt ??= index;
    skyStops = Math.log2(light.reduce((sum, value) => sum + value, 0) / light.length);
  }
  return { response, learner, sureAt };
}

/** RMS error of the learned curve in stops over the codes seen, and over what is truly usable of them. */
function curveError(curve: ToneCurve, response: ToneResponse, learner: ResponseLearner): number {
  const seen = learner.pairs.flatMap((pair) => [...pair.codes1, ...pair.codes2]);
  seen.sort((a, b) => a - b);
  const from = Math.ceil(seen[Math.floor(seen.length * 0.05)]!);
  // Codes next to the ceiling are clipped light, whatever the curve.
  const to = Math.min(245, Math.floor(seen[Math.floor(seen.length * 0.95)]!));
  const unit = lightAt(curve, 118);
  let [sum, count] = [0, 0];
  for (let code = from; code <= to; code += 1) {
    const light = lightAt(curve, code);
    // Below 1/32 of mid-grey a code is noise and black level, above 5.5 the sensor is full.
    if (light < 1 / 32 || light > 5.4) continue;
    sum += Math.log2(lightOfCode(response, code) / (light / unit)) ** 2;
    count += 1;
  }
  expect(count).toBeGreaterThan(20);
  return Math.sqrt(sum / count);
}

/** Light of a code, by bisection of the curve itself. */
function lightAt(curve: ToneCurve, code: number): number {
  let [low, high] = [0, 6];
  for (let step = 0; step < 50; step += 1) {
    const middle = (low + high) / 2;
    if (255 * curve(middle) < code) low = middle;
    else high = middle;
  }
  return low;
}

const simulated = Object.entries(TONE_CURVES).map(([name, curve]): [string, ToneCurve] => [
  `simulated ${name}`,
  // The simulated sensor is full at 7.8 times mid-grey (ISO 12232).
  (light) => toneCode(curve, light / 7.8) / 255,
]);

describe.each([...Object.entries(HIDDEN_CURVES), ...simulated])(
  "the hidden curve %s",
  (name, curve) => {
    test("is learned to 0.03 stop RMS within 40 varied frames of a moving sky", () => {
      const { response, learner } = liveNight({
        curve,
        name,
        expose: (_, __, normal) => 1.5 * normal(),
      });
      expect(curveError(curve, response, learner)).toBeLessThanOrEqual(0.03);
      expect(response.isSure).toBe(true);
    });

    test("is learned to 0.03 stop RMS over the codes seen while the exposure follows the sky", () => {
      const { response, learner } = liveNight({
        curve,
        name,
        expose: (index, skyStops) => -1 - skyStops + ((index % 3) - 1) * 0.5,
      });
      expect(curveError(curve, response, learner)).toBeLessThanOrEqual(0.03);
    });
  },
);

test("starts from sRGB and says that it is not sure", () => {
  const response = startToneResponse();
  expect(response.isSure).toBe(false);
  for (const code of [20, 64, 118, 200]) {
    expect(lightOfCode(response, code)).toBeCloseTo(linearOfCode(code) / linearOfCode(118), 6);
  }
  expect(responseUncertaintyStops(response, 40)).toBeGreaterThan(0.2);
});

test("stays unsure while nothing but the sky changes, and does not bend", () => {
  const { response, learner } = liveNight({
    curve: HIDDEN_CURVES["contrasty"]!,
    name: "steady",
    expose: () => 0,
  });
  expect(learner.pairCount).toBe(0);
  expect(response.isSure).toBe(false);
  expect(response.deviationStops.every((deviation) => deviation === 0)).toBe(true);
});

test("is sure by frame 30 when exposures vary", () => {
  const { sureAt } = liveNight({
    curve: HIDDEN_CURVES["mild"]!,
    name: "sure",
    expose: (_, __, normal) => 1.5 * normal(),
  });
  expect(sureAt).not.toBeNull();
  expect(sureAt!).toBeLessThanOrEqual(30);
});

test("keeps within 0.03 stop when the next night starts from what was kept as JSON", () => {
  const curve = HIDDEN_CURVES["contrasty"]!;
  const expose = (_: number, __: number, normal: () => number) => 1.5 * normal();
  const first = liveNight({ curve, name: "first", expose });
  const kept = JSON.parse(JSON.stringify(first.response)) as ToneResponse;
  const second = liveNight({ curve, name: "second", expose, frames: 12, start: kept });
  expect(second.response.isSure).toBe(true);
  expect(curveError(curve, second.response, second.learner)).toBeLessThanOrEqual(0.03);
});

test("a light table rises strictly whatever the coefficients", () => {
  const random = createRandom("wild");
  const wild = {
    ...startToneResponse(),
    deviationStops: startToneResponse().deviationStops.map(() => 3 * random.normal()),
  };
  const table = lightTable(wild);
  for (let index = 2; index < table.length; index += 1) {
    expect(table[index]!).toBeGreaterThanOrEqual(table[index - 1]!);
  }
});

describe("exposures that follow the sky", () => {
  /** The sky falls and rises; the exposure makes up for it, a frame late, and the codes stay. */
  function closedLoop(followsTheSky: boolean): ToneResponse | null {
    const random = createRandom("closed loop");
    let learner = startResponseLearner();
    let response: ToneResponse | null = null;
    let before = 0;
    for (let index = 0; index < 60; index += 1) {
      const exposureStops = 1.5 * Math.sin(index / 6);
      const shown = 0.2 * (exposureStops - before) + 0.02 * random.normal();
      before = exposureStops;
      const codes = [40, 50, 60, 70, 85, 100].map((code) => code * 2 ** (0.4 * shown));
      const frame = {
        ...{ exposureStops, seconds: index * 9, cellCount: 1000, followsTheSky },
        codes: [...codes, ...codes, ...codes],
      };
      const learned = learnFrame(learner, frame);
      learner = learned.learner;
      response = learned.response ?? response;
    }
    return response;
  }

  test("teach nothing, where the same frames taken for their own sake bend the curve by over 0.3 stop", () => {
    expect(closedLoop(true)).toBeNull();
    const bent = closedLoop(false);
    expect(Math.max(...bent!.deviationStops.map(Math.abs))).toBeGreaterThan(0.3);
  });
});
