import { describe, expect, it } from "vitest";
import { observeActivity, startSurgeWatch } from "../../../core/activity/surge.ts";
import { luminanceCdM2Of, stopsFromMidGrey } from "../../../core/exposure/exposure.ts";
import type { FrameObservation } from "../../../core/exposure/observation.ts";
import { createRandom } from "../../../core/random.ts";
import { makeSky, type SkyKind } from "../../support/skySuite.ts";
import { readSky } from "../../../core/rehearsal/givenSky.ts";
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
      for (const seed of [71, 72, 73])
        expect(onsetsUnder(kind, seed, 10), `seed ${seed}`).toBeLessThanOrEqual(1);
    },
  );

  it("finds the surges of storms, most of them", () => {
    for (const seed of [81, 82, 83]) {
      const count = onsetsUnder("storm", seed, 2);
      expect(count, `seed ${seed}`).toBeGreaterThanOrEqual(3);
    }
  });

  it.each(["overcast", "movingClouds", "cloudyDusk", "headlights"] as const)(
    "raises at most two false alarms in any of six ten-hour nights and one in most: %s",
    (kind) => {
      const counts = [1, 2, 3, 4, 5, 6].map((seed) => {
        const every = seed % 2 === 0 ? 6 : 16;
        return changes(nightOf(kind, seed, every), { frames: 36_000 / every, every }).filter(
          ({ change }) => change === "onset",
        ).length;
      });
      expect(Math.max(...counts), `seeds 1 to 6: ${counts.join()}`).toBeLessThanOrEqual(2);
      expect(counts.filter((count) => count > 1).length).toBeLessThanOrEqual(1);
    },
  );

  it("announces within two frames curtains that break up in a gap of the clouds", () => {
    const every = 10;
    const gaps = [100, 200, 300];
    const look = (index: number): Look => {
      const isGap = gaps.some((gap) => index >= gap && index < gap + 20);
      const cloud = isGap ? 0 : -2;
      const aurora = index < 310 ? 0 : breakup(index, 310, every, 0.06).level + 11;
      return {
        level: -11 + cloud + aurora,
        peakRatio: index < 310 ? 2 : 4,
        degPerSecond: index < 310 ? null : 0.2,
      };
    };
    const onsets = changes(look, { frames: 318, every }).filter(({ change }) => change === "onset");
    expect(onsets.at(-1)!.index - 310).toBeGreaterThanOrEqual(0);
    expect(onsets.at(-1)!.index - 310).toBeLessThanOrEqual(2);
  });

  it("measures again after a break: a sky that is 3 stops brighter an hour later is no surge", () => {
    const every = 16;
    const look = (index: number): Look => ({ level: index < 60 ? -11 : -8, degPerSecond: null });
    let state = startSurgeWatch();
    for (let index = 0; index < 120; index += 1) {
      const shown = frame(index < 60 ? index : index + 225, every, look(index));
      const step = observeActivity(state, shown);
      expect(step.change).toBeNull();
      state = step.state;
    }
  });

  it("learns nothing from a senseless reading", () => {
    const state = startSurgeWatch();
    const odd = { ...frame(0, 16, { level: -11 }), skyStops: NaN };
    expect(observeActivity(state, odd)).toEqual({ state, change: null, riseStops: 0 });
  });
});

/** One night of clouds, of cars passing, or of both a dusk and clouds; never any aurora. */
function nightOf(
  kind: "overcast" | "movingClouds" | "cloudyDusk" | "headlights",
  seed: number,
  everySeconds: number,
): (index: number) => Look {
  const random = createRandom(`${kind} ${seed}`);
  const between = (from: number, to: number): number => from + (to - from) * random.uniform();
  const isCars = kind === "headlights";
  const events = Array.from({ length: isCars ? 60 : 120 }, () => ({
    fromSeconds: between(0, 36_000),
    lastsSeconds: isCars ? between(2, 35) : between(100, 1800),
    edgeSeconds: between(10, 100),
    stops: isCars ? between(0.5, 5) : between(-2, 0),
  }));
  const edge = (seconds: number, edgeSeconds: number): number =>
    1 / (1 + Math.exp((-4 * seconds) / edgeSeconds));
  const changeAt = (atSeconds: number): number =>
    events.reduce((sum, { fromSeconds, lastsSeconds, edgeSeconds, stops }) => {
      const since = atSeconds - fromSeconds;
      if (isCars) return sum + (since > 0 && since < lastsSeconds ? stops : 0);
      return sum + stops * (edge(since, edgeSeconds) - edge(since - lastsSeconds, edgeSeconds));
    }, 0);
  return (index) => {
    const light = [0.1, 0.3, 0.5, 0.7, 0.9].map((part) => {
      const atSeconds = (index + part) * everySeconds;
      const dusk = kind === "cloudyDusk" ? Math.max(0, 5 - atSeconds / 600) : 0;
      return 2 ** (-11 + dusk + Math.max(-2.5, changeAt(atSeconds)));
    });
    const isMeasured = kind === "movingClouds" && random.uniform() < 0.7;
    return {
      level: Math.log2(light.reduce((sum, each) => sum + each, 0) / light.length),
      peakRatio: kind === "movingClouds" ? between(2, 2.8) : 2,
      degPerSecond: isMeasured ? between(0.02, 0.15) : null,
    };
  };
}

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
