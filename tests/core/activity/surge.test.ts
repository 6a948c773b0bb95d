import { describe, expect, it } from "vitest";
import { observeActivity, startSurgeWatch } from "../../../core/activity/surge.ts";
import { luminanceCdM2Of, stopsFromMidGrey } from "../../../core/exposure/exposure.ts";
import type { FrameObservation } from "../../../core/exposure/observation.ts";
import { createRandom } from "../../../core/random.ts";
import { makeSky, type SkyKind } from "../../../core/simulation/skySuite.ts";
import { readSky } from "../../../core/simulation/rehearsalSky.ts";
import { monotonicMs } from "../../../core/units.ts";

const exposure = { exposureSeconds: 10, iso: 1600, fNumber: 2.8 };

type Look = { level: number; peakRatio?: number; degPerSecond?: number | null };

function frame(index: number, everySeconds: number, look: Look): FrameObservation {
  const degPerSecond = look.degPerSecond === undefined ? null : look.degPerSecond;
  return {
    frameIndex: index,
    openedMs: monotonicMs(index * everySeconds * 1000),
    exposure,
    skyStops: stopsFromMidGrey(2 ** look.level, exposure),
    uncertaintyStops: 0.02,
    peakRatio: look.peakRatio ?? 2,
    clippedShare: 0,
    motion:
      degPerSecond === null
        ? { kind: "unknown", why: "not measured" }
        : { kind: "measured", degPerSecond, pxPerSecond: degPerSecond * 47 },
  };
}

/** Frames at which something changed, under a sky given frame by frame. */
function changes(lookAt: (index: number) => Look, options: { frames: number; every: number }) {
  const noise = createRandom("surge").fork("noise");
  let state = startSurgeWatch();
  const found: { change: "onset" | "end"; index: number; riseStops: number }[] = [];
  for (let index = 0; index < options.frames; index += 1) {
    const look = lookAt(index);
    const observation = frame(index, options.every, {
      ...look,
      level: look.level + 0.02 * noise.normal(),
    });
    const step = observeActivity(state, observation);
    state = step.state;
    if (step.change !== null) {
      found.push({ change: step.change, index, riseStops: step.riseStops });
    }
  }
  return found;
}

/** A breakup that begins with a frame: exponential growth (Kalmoni et al. 2015), then a plateau. */
function breakup(index: number, onset: number, everySeconds: number, growthPerSecond: number) {
  const since = Math.max(0, index - onset + 0.5) * everySeconds;
  const growing = index < onset ? 1 : Math.min(12, Math.exp(growthPerSecond * since));
  return { level: -11 + Math.log2(growing), peakRatio: 4, degPerSecond: 0.2 };
}

describe("the watch for surges", () => {
  it.each([
    [16, 0.05],
    [16, 0.07],
    [10, 0.05],
    [16, 0.03],
  ])("announces an onset within two frames: every %d s, growing by %d/s", (every, growth) => {
    const found = changes((index) => breakup(index, 60, every, growth), { frames: 80, every });
    expect(found[0]?.change).toBe("onset");
    expect(found[0]!.index - 60).toBeLessThanOrEqual(2);
    expect(found[0]!.index).toBeGreaterThanOrEqual(60);
  });

  it("announces within two frames a breakup of 5 stops in 34 s whose curtains are seen to move", () => {
    const every = 6;
    const look = (index: number): Look => ({
      level: -11 + Math.min(5, Math.max(0, ((index - 400 + 0.5) * every * 5) / 34)),
      peakRatio: 4,
      degPerSecond: index >= 400 ? 0.2 : 0.02,
    });
    const found = changes(look, { frames: 420, every });
    expect(found[0]?.change).toBe("onset");
    expect(found[0]!.index - 400).toBeLessThanOrEqual(2);
  });

  it("ends once, after most of the rise has been gone for a minute and a half", () => {
    const every = 10;
    const look = (index: number): Look =>
      index < 120 ? breakup(index, 60, every, 0.06) : { level: -10.8, degPerSecond: 0.1 };
    const found = changes(look, { frames: 200, every });
    expect(found.map(({ change }) => change)).toEqual(["onset", "end"]);
    expect(found[1]!.index - 120).toBeGreaterThanOrEqual(9);
    expect(found[1]!.index - 120).toBeLessThanOrEqual(12);
  });

  it("does not end while the sky dips for half a minute", () => {
    const every = 10;
    const look = (index: number): Look => ({
      ...breakup(index, 60, every, 0.06),
      ...(index >= 80 && index < 83 ? { level: -11 } : {}),
    });
    expect(changes(look, { frames: 110, every })).toHaveLength(1);
  });

  it("announces a second surge after the first has ended", () => {
    const every = 10;
    const look = (index: number): Look => {
      if (index < 100) return breakup(index, 60, every, 0.06);
      if (index < 160) return { level: -11, degPerSecond: 0.1 };
      return breakup(index, 160, every, 0.06);
    };
    const onsets = changes(look, { frames: 190, every }).filter(({ change }) => change === "onset");
    expect(onsets.map(({ index }) => index >= 160)).toEqual([false, true]);
  });

  it.each([
    ["lightning, one frame 3 stops brighter", (index: number) => (index === 60 ? 3 : 0)],
    [
      "an aircraft, two frames 0.4 stops brighter",
      (index: number) => (index >> 1 === 30 ? 0.4 : 0),
    ],
    [
      "headlights, 2 stops for three frames",
      (index: number) => (index >= 60 && index < 63 ? 2 : 0),
    ],
    ["a thunderstorm, a flash of 2 to 4 stops in every third frame", thunderstorm],
    [
      "a lamp of one stop that is switched on for half a minute",
      (index: number) => (index >= 60 && index < 62 ? 1 : 0),
    ],
    ["a cloud that takes 1.5 stops and gives them back within a minute", cloudAway],
    ["dawn, 0.13 stop/min", (index: number) => (0.13 * 16 * index) / 60],
    ["moonrise, 4 stops in half an hour", (index: number) => Math.min(4, index / 28)],
  ])("does not take for a surge: %s", (_name, riseAt) => {
    const look = (index: number): Look => ({ level: -11 + riseAt(index), degPerSecond: null });
    expect(changes(look, { frames: 220, every: 16 })).toEqual([]);
  });

  it("does not take for a surge a lit cloud 0.8 stops brighter that drifts in", () => {
    const look = (index: number): Look => ({
      level: -11 + 0.8 / (1 + Math.exp(60 - index)),
      degPerSecond: 0.02,
    });
    expect(changes(look, { frames: 200, every: 16 })).toEqual([]);
  });

  it.each(["quiet", "cloud", "twilight", "moonrise"] as const)(
    "raises at most one false alarm in each of three ten-hour nights: %s",
    (kind) => {
      for (const seed of [71, 72, 73]) expect(onsetsUnder(kind, seed, 10)).toBeLessThanOrEqual(1);
    },
  );

  it("finds the surges of storms, most of them", () => {
    for (const seed of [81, 82, 83]) {
      const count = onsetsUnder("storm", seed, 2);
      expect(count).toBeGreaterThanOrEqual(3);
    }
  });

  it("learns nothing from a senseless reading", () => {
    const state = startSurgeWatch();
    const odd = { ...frame(0, 16, { level: -11 }), skyStops: NaN };
    expect(observeActivity(state, odd)).toEqual({ state, change: null, riseStops: 0 });
  });
});

function thunderstorm(index: number): number {
  return index >= 60 && index < 100 && index % 3 < 2 - (index % 2) ? 2 + (index % 5) / 2 : 0;
}

function cloudAway(index: number): number {
  const depth = 1.5;
  if (index < 40 || index > 76) return 0;
  const edge = Math.min(1, (index - 40) / 4, (76 - index) / 4);
  return -depth * edge;
}

function onsetsUnder(kind: SkyKind, seed: number, hours: number): number {
  const reader = readSky(makeSky(kind, seed, hours));
  const noise = createRandom(seed).fork("noise");
  let state = startSurgeWatch();
  let onsets = 0;
  const every = kind === "storm" ? 6 : 16;
  for (let index = 0; index * every < hours * 3600 - every; index += 1) {
    const window = reader.window(index * every, index * every + every - 1);
    const level = Math.log2(window.meanCdM2) + 0.02 * noise.normal();
    const happened = { ...exposure, exposureSeconds: every - 1 };
    const observation: FrameObservation = {
      ...frame(index, every, {
        level,
        peakRatio: window.peakRatio,
        degPerSecond: window.driftDegPerSecond,
      }),
      exposure: happened,
      skyStops: stopsFromMidGrey(2 ** level, happened),
    };
    expect(luminanceCdM2Of(observation.skyStops, happened)).toBeCloseTo(2 ** level, 9);
    const step = observeActivity(state, observation);
    state = step.state;
    if (step.change === "onset") onsets += 1;
  }
  return onsets;
}
