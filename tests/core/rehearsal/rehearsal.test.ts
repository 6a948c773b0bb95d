import { describe, expect, it } from "vitest";
import { FOCAL_PLANE_FACTOR } from "../../../core/exposure/exposure.ts";
import { DEFAULT_EXPOSURE_SETTINGS } from "../../../core/exposure/settings.ts";
import {
  DEFAULT_REHEARSAL_TIMING,
  rehearse,
  testFrameExposure,
  type RehearsalOptions,
} from "../../../core/rehearsal/rehearsal.ts";
import { judgeFrame, scoreOf } from "../../../core/rehearsal/score.ts";
import { readSky, skyFromColumns, type RehearsalSky } from "../../../core/rehearsal/givenSky.ts";
import { makeSky } from "../../support/skySuite.ts";
import { levelFor, stepSky } from "../../skies/suite.ts";

const settings = DEFAULT_EXPOSURE_SETTINGS;
const timing = DEFAULT_REHEARSAL_TIMING;

function options(sky: RehearsalSky, change: Partial<RehearsalOptions> = {}): RehearsalOptions {
  const first = testFrameExposure(sky, { settings, timing, seed: 1 });
  return { settings, timing, seed: 1, first, lightMeter: null, ...change };
}

function steady(luminanceCdM2: number, seconds: number): RehearsalSky {
  return skyFromColumns({
    seconds: Float64Array.of(100, 100 + seconds),
    luminanceCdM2: Float64Array.of(luminanceCdM2, luminanceCdM2),
    peakRatio: Float64Array.of(2, 2),
    driftDegPerSecond: Float64Array.of(0, 0),
  });
}

describe("a rehearsal", () => {
  it("opens again as soon as the camera is ready, and ends with the sky", () => {
    const frames = rehearse(steady(1e-3, 600), options(steady(1e-3, 600)));
    expect(frames[0]!.startSeconds).toBe(100);
    frames.slice(1).forEach((frame, index) => {
      const before = frames[index]!;
      const ready = before.startSeconds + before.exposure.exposureSeconds + timing.busySeconds;
      expect(frame.startSeconds).toBeCloseTo(ready, 6);
      expect(frame.index).toBe(before.index + 1);
    });
    const last = frames.at(-1)!;
    expect(last.startSeconds + last.exposure.exposureSeconds).toBeLessThanOrEqual(700);
    expect(700 - last.startSeconds - last.exposure.exposureSeconds).toBeLessThan(17);
  });

  it("keeps a fixed interval and never exposes into the camera's own time", () => {
    const paced = { ...settings, intervalSeconds: 10 };
    const frames = rehearse(steady(3e-4, 600), options(steady(3e-4, 600), { settings: paced }));
    frames.slice(1).forEach((frame, index) => {
      expect(frame.startSeconds - frames[index]!.startSeconds).toBeCloseTo(10, 6);
    });
    expect(Math.max(...frames.map(({ exposure }) => exposure.exposureSeconds))).toBeLessThanOrEqual(
      9,
    );
  });

  it("gives the same frames again from the same seed, and others from another", () => {
    const sky = makeSky("breakup", 3, 0.5);
    const once = rehearse(sky, options(sky));
    expect(rehearse(sky, options(sky))).toEqual(once);
    expect(rehearse(sky, options(sky, { seed: 2 }))).not.toEqual(once);
  });

  it("judges a frame by H = 0.65 / N² · ∫ L dt against 10 / S and 78 / S", () => {
    const window = readSky(steady(2e-3, 60)).window(100, 110);
    const exposure = { exposureSeconds: 10, iso: 1600, fNumber: 2.8 };
    const luxSeconds = (FOCAL_PLANE_FACTOR / 2.8 ** 2) * 2e-3 * 10;
    const judged = judgeFrame(window, exposure, settings);
    expect(judged.errorStops).toBeCloseTo(Math.log2(luxSeconds / (10 / 1600)) + 2, 12);
    expect(judged.isClipped).toBe(false);
    const bright = { ...window, peakRatio: 78 / 1600 / luxSeconds };
    expect(
      judgeFrame({ ...bright, peakRatio: bright.peakRatio * 0.999 }, exposure, settings).isClipped,
    ).toBe(false);
    expect(
      judgeFrame({ ...bright, peakRatio: bright.peakRatio * 1.001 }, exposure, settings).isClipped,
    ).toBe(true);
  });

  it.each([
    ["15 s at ISO 12800 just meet it", 15, 12800, 0, true],
    ["it would need a hundredth of a stop more", 15, 12800, -0.01, false],
    ["0.5 s at ISO 100 just meet it", 0.5, 100, 0, true],
    ["it would need a hundredth of a stop less", 0.5, 100, 0.01, false],
  ] as const)("calls a frame reachable or not: %s", (_name, seconds, iso, stops, isReachable) => {
    const luminance = 2 ** (levelFor(seconds, iso) + stops);
    const window = { meanCdM2: luminance, peakRatio: 2, driftDegPerSecond: 0 };
    const exposure = { exposureSeconds: 1, iso: 100, fNumber: 2.8 };
    expect(judgeFrame(window, exposure, settings).isReachable).toBe(isReachable);
  });

  it("counts a frame as out of reach whose highlights would clip at the target", () => {
    const window = { meanCdM2: 2e-3, peakRatio: 40, driftDegPerSecond: 0 };
    const exposure = { exposureSeconds: 1, iso: 100, fNumber: 2.8 };
    expect(judgeFrame(window, exposure, settings).isReachable).toBe(false);
  });

  it("takes errors only over the reachable frames", () => {
    const frame = {
      index: 0,
      startSeconds: 0,
      exposure: { exposureSeconds: 1, iso: 100, fNumber: 2.8 },
    };
    const rest = { meteredStops: 0, isClipped: false, reasons: [] };
    const score = scoreOf(
      [
        { ...frame, ...rest, errorStops: 0.3, isReachable: true },
        { ...frame, ...rest, errorStops: -0.4, isReachable: true },
        { ...frame, ...rest, errorStops: 5, isReachable: false, isClipped: true },
      ],
      settings,
    );
    expect(score.rmsErrorStops).toBeCloseTo(Math.sqrt((0.09 + 0.16) / 2), 12);
    expect(score).toMatchObject({
      frames: 3,
      reachableFrames: 2,
      clippedFrames: 1,
      p95ErrorStops: 0.4,
    });
  });

  it("meters a clipped sky darker than it is and still finds the exposure", () => {
    const sky = stepSky({ level: levelFor(10, 1600), stepStops: 6, atSeconds: 304, seconds: 600 });
    const frames = rehearse(sky, options(sky));
    const hit = frames.find(({ errorStops }) => errorStops > 4)!;
    expect(hit.meteredStops!).toBeLessThan(hit.errorStops - 0.3);
    expect(Math.abs(frames.at(-1)!.errorStops)).toBeLessThan(0.1);
  });

  it("goes on through a sky that no exposure can meet, at the limits", () => {
    const frames = rehearse(steady(1e-6, 300), options(steady(1e-6, 300)));
    expect(frames.at(-1)!.exposure).toMatchObject({ exposureSeconds: 15, iso: 12800 });
    expect(frames.every(({ isReachable }) => !isReachable)).toBe(true);
    expect(frames.at(-1)!.reasons).toContain(
      "longest exposure and ISO at its cap: darker than wanted",
    );
  });

  it("works when the reading comes only after the next frame has opened", () => {
    const slow = { ...timing, readingDelaySeconds: 5, busySeconds: 0.2 };
    const sky = makeSky("twilight", 4, 1);
    const score = scoreOf(rehearse(sky, options(sky, { timing: slow })), settings);
    expect(score.frames).toBeGreaterThan(100);
    expect(score.rmsErrorStops).toBeLessThan(0.1);
  });

  it("crosses a sky of a million rows", () => {
    const count = 1_000_000;
    const sky = skyFromColumns({
      seconds: Float64Array.from({ length: count }, (_, index) => index / 100),
      luminanceCdM2: Float64Array.from(
        { length: count },
        (_, index) => 2e-3 * 2 ** Math.sin(index / 4e4),
      ),
      peakRatio: new Float64Array(count).fill(2),
      driftDegPerSecond: new Float64Array(count),
    });
    expect(scoreOf(rehearse(sky, options(sky)), settings).rmsErrorStops).toBeLessThan(0.1);
  });
});

describe("a rehearsal with a light meter", () => {
  const sky = makeSky("storm", 11, 0.7);
  const rms = (lightMeter: RehearsalOptions["lightMeter"]): number =>
    scoreOf(rehearse(sky, options(sky, { lightMeter })), settings).rmsErrorStops;

  it("is better with it, and no worse than 1.15 times without when it jams, drifts or lies", () => {
    const without = rms(null);
    expect(rms({ hz: 10 })).toBeLessThan(0.7 * without);
    let held = NaN;
    const jams = (at: number, value: number): number => (at > 600 ? held : (held = value));
    expect(rms({ hz: 10, disturb: jams })).toBeLessThan(1.15 * without);
    // A stop in ten minutes: far more than any sensor's temperature does.
    expect(rms({ hz: 10, disturb: (at, value) => value * 2 ** (at / 600) })).toBeLessThan(without);
    const lies = (at: number, value: number) => (at % 300 < 4 && at > 300 ? value * 20 : value);
    // The first car costs a frame of up to 4 stops; the others are not believed.
    const oneFrame = 4 / Math.sqrt(rehearse(sky, options(sky)).length);
    expect(rms({ hz: 10, disturb: lies })).toBeLessThan(Math.hypot(without, oneFrame));
    const dead = rms({ hz: 10, disturb: (at, value) => (at > 600 ? null : value) });
    expect(dead).toBeLessThan(1.15 * without);
  });

  it("never closes before the shortest exposure", () => {
    const frames = rehearse(sky, options(sky, { lightMeter: { hz: 50 } }));
    for (const { exposure } of frames) {
      expect(exposure.exposureSeconds).toBeGreaterThanOrEqual(settings.exposureSecondsMin);
      expect(exposure.exposureSeconds).toBeLessThanOrEqual(settings.exposureSecondsMax);
    }
    expect(
      frames.some(({ reasons }) => reasons.includes("closed when the light meter had its dose")),
    ).toBe(true);
  });
});
