import fc from "../../support/properties.ts";
import { describe, expect, it } from "vitest";
import { secondsIsoFor } from "../../../core/exposure/allocation.ts";
import { stopsFromMidGrey, type Exposure } from "../../../core/exposure/exposure.ts";
import {
  governExposure,
  hasHadItsDose,
  observeFrame,
  observeLight,
  startGovernor,
  type FrameObservation,
  type GovernDecision,
  type GovernorState,
} from "../../../core/exposure/governor.ts";
import { usableIsos } from "../../../core/exposure/ladder.ts";
import {
  DEFAULT_EXPOSURE_SETTINGS,
  type ExposureSettings,
} from "../../../core/exposure/settings.ts";
import { createRandom } from "../../../core/random.ts";
import { monotonicMs } from "../../../core/units.ts";

const settings = DEFAULT_EXPOSURE_SETTINGS;

type Sky = {
  readonly levelAt: (frame: number) => number;
  readonly peakRatio?: number;
  readonly pxPerSecond?: number | null;
  readonly settings?: (frame: number) => ExposureSettings;
  /** What a camera makes of an order; left out: exactly that. */
  readonly happens?: (ordered: Exposure) => Exposure;
};

/** Governs so many frames, back to back, every reading there before the next frame. */
function govern(sky: Sky, frames: number): { decisions: GovernDecision[]; errors: number[] } {
  const noise = createRandom("governor").fork("noise");
  let state = startGovernor(null);
  let atSeconds = 0;
  const decisions: GovernDecision[] = [];
  const errors: number[] = [];
  for (let frameIndex = 0; frameIndex < frames; frameIndex += 1) {
    const now = sky.settings?.(frameIndex) ?? settings;
    const openedMs = monotonicMs(atSeconds * 1000);
    const decision = governExposure(state, { openAtMs: openedMs, frameIndex }, now);
    const exposure = sky.happens?.(decision.exposure) ?? decision.exposure;
    const stops = stopsFromMidGrey(2 ** sky.levelAt(frameIndex), exposure);
    decisions.push(decision);
    errors.push(stops - now.targetStops);
    const observation: FrameObservation = {
      frameIndex,
      openedMs,
      exposure,
      skyStops: stops + 0.02 * noise.normal(),
      uncertaintyStops: 0.02,
      peakRatio: sky.peakRatio ?? 2,
      clippedShare: 0,
      motion:
        sky.pxPerSecond === undefined || sky.pxPerSecond === null
          ? { kind: "unknown", why: "no structure" }
          : { kind: "measured", degPerSecond: 0.1, pxPerSecond: sky.pxPerSecond },
    };
    state = observeFrame(decision.state, observation, now);
    atSeconds += exposure.exposureSeconds + 1;
  }
  return { decisions, errors };
}

function dose({ exposure }: GovernDecision): number {
  return Math.log2(secondsIso(exposure));
}

/** Time × ISO, in seconds at ISO 1. */
function secondsIso({ exposureSeconds, iso }: Exposure): number {
  return exposureSeconds * iso;
}

describe("the governor", () => {
  it("holds still when the sky holds still: steps of at most 0.008 stop RMS", () => {
    const { decisions } = govern({ levelAt: () => -11 }, 300);
    const steps = decisions
      .slice(51)
      .map((each, index) => dose(each) - dose(decisions[50 + index]!));
    const rms = Math.sqrt(steps.reduce((sum, step) => sum + step * step, 0) / steps.length);
    expect(rms).toBeLessThanOrEqual(0.008);
    expect(new Set(decisions.slice(20).map(({ exposure }) => exposure.iso)).size).toBe(1);
  });

  it("guesses a dark sky for the first frame and says so", () => {
    const first = governExposure(
      startGovernor(null),
      { openAtMs: monotonicMs(0), frameIndex: 0 },
      settings,
    );
    expect(first.reasons).toContain("no reading yet: a guess for a dark sky");
    expect(stopsFromMidGrey(2.5e-4, first.exposure)).toBeCloseTo(-2, 6);
  });

  it("takes the first frame exactly as asked", () => {
    const asked: Exposure = { exposureSeconds: 7.43, iso: 3200, fNumber: 2.8 };
    const first = governExposure(
      startGovernor(asked),
      { openAtMs: monotonicMs(0), frameIndex: 0 },
      settings,
    );
    expect(first.exposure).toEqual(asked);
    expect(first.reasons).toEqual(["no reading yet: the exposure to begin with"]);
  });

  it("keeps the exposure under what the curtains allow and says how short", () => {
    const { decisions } = govern({ levelAt: () => -8, pxPerSecond: 6 }, 10);
    const last = decisions.at(-1)!;
    expect(last.exposure.exposureSeconds).toBeLessThanOrEqual(4 + 1e-9);
    expect(last.limit).toBe("curtains");
    expect(last.reasons).toContain("kept under 4.0 s for the curtains");
  });

  it("prefers brightness to crisp curtains at the ISO cap and says so", () => {
    const { decisions } = govern({ levelAt: () => -11, pxPerSecond: 24 }, 10);
    const last = decisions.at(-1)!;
    expect(last.exposure.iso).toBe(12800);
    expect(last.exposure.exposureSeconds).toBeGreaterThan(4);
    expect(last.reasons.some((reason) => reason.startsWith("ISO at its cap"))).toBe(true);
  });

  it("says how much brighter the sky has become", () => {
    const { decisions } = govern({ levelAt: (frame) => (frame < 30 ? -10 : -8.7) }, 32);
    expect(decisions.at(-1)!.reasons).toContain("sky 1.3 stops brighter than a minute ago");
  });

  it("takes up a changed target at the next frame", () => {
    const brighter = { ...settings, targetStops: -1 };
    const { errors } = govern(
      { levelAt: () => -10, settings: (frame) => (frame < 50 ? settings : brighter) },
      55,
    );
    expect(Math.abs(errors[50]!)).toBeLessThan(0.03);
  });

  it("takes up a changed ISO cap and longest exposure at the next frame", () => {
    const careful = { ...settings, isoMax: 1600, exposureSecondsMax: 8 };
    const { decisions } = govern(
      { levelAt: () => -12, settings: (frame) => (frame < 20 ? settings : careful) },
      21,
    );
    expect(decisions[19]!.exposure.iso).toBeGreaterThan(1600);
    expect(decisions[20]!.exposure).toMatchObject({ iso: 1600, exposureSeconds: 8 });
    expect(decisions[20]!.limit).toBe("longest");
    expect(decisions[20]!.isReachable).toBe(false);
  });

  it.each<
    [
      string,
      Partial<ExposureSettings>,
      Omit<Sky, "settings">,
      (before: Exposure, after: Exposure) => void,
    ]
  >([
    [
      "shortest exposure of 2 s",
      { exposureSecondsMin: 2 },
      { levelAt: () => -1 },
      (before, after) => {
        expect(before.exposureSeconds).toBeLessThan(2);
        expect(after.exposureSeconds).toBe(2);
      },
    ],
    [
      "smear tolerance of half as many pixels",
      { blurPx: settings.blurPx / 2 },
      { levelAt: () => -8, pxPerSecond: 5 },
      (before, after) => {
        expect(before.exposureSeconds).toBeGreaterThan(settings.blurPx / 10);
        expect(after.exposureSeconds).toBeLessThanOrEqual(settings.blurPx / 10);
        expect(after.iso).toBeGreaterThan(before.iso);
      },
    ],
    [
      "interval of 6 s",
      { intervalSeconds: 6 },
      { levelAt: () => -9 },
      (before, after) => {
        expect(before.exposureSeconds).toBeGreaterThan(5);
        expect(after.exposureSeconds).toBeLessThanOrEqual(6 - settings.busySeconds);
        expect(after.iso).toBeGreaterThan(before.iso);
      },
    ],
    [
      "lowest ISO of 800",
      { isoMin: 800 },
      { levelAt: () => -1 },
      (before, after) => {
        expect(before.iso).toBeLessThan(800);
        expect(after.iso).toBeGreaterThanOrEqual(800);
      },
    ],
    [
      "wish for no protection of the highlights",
      { clippedShareMax: 1 },
      { levelAt: () => -9, peakRatio: 60 },
      (before, after) => expect(secondsIso(after)).toBeGreaterThan(1.5 * secondsIso(before)),
    ],
    [
      "limit of 0.2 stop a minute for a smooth film, as the target rises by a stop",
      { targetStops: -1, stopsPerMinuteMax: 0.2 },
      { levelAt: () => -9 },
      (before, after) => {
        expect(secondsIso(after) / secondsIso(before)).toBeGreaterThan(1);
        expect(Math.log2(secondsIso(after) / secondsIso(before))).toBeLessThan(0.06);
      },
    ],
  ])("takes up a %s at the next frame", (_name, change, sky, check) => {
    const changed = { ...settings, ...change };
    const { decisions } = govern(
      { ...sky, settings: (frame) => (frame < 20 ? settings : changed) },
      21,
    );
    check(decisions[19]!.exposure, decisions[20]!.exposure);
  });

  it("changes by no more than a smooth film allows, and says so", () => {
    const smooth = { ...settings, stopsPerMinuteMax: 0.5 };
    const { decisions } = govern(
      { levelAt: (frame) => (frame < 30 ? -10 : -8), settings: () => smooth },
      40,
    );
    const times = decisions.slice(1).map((each, index) => {
      const minutes = (decisions[index]!.exposure.exposureSeconds + 1) / 60;
      return Math.abs(dose(each) - dose(decisions[index]!)) / minutes;
    });
    expect(Math.max(...times)).toBeLessThanOrEqual(0.5 + 1e-6);
    expect(decisions[31]!.reasons.some((reason) => reason.endsWith("for a smooth film"))).toBe(
      true,
    );
  });

  it("goes under the target where the highlights would clip, and not without protection", () => {
    const bright = { ...settings, targetStops: 0 };
    const protectedSky = govern({ levelAt: () => -9, peakRatio: 12, settings: () => bright }, 20);
    const last = protectedSky.decisions.at(-1)!;
    expect(last.limit).toBe("highlights");
    expect(protectedSky.errors.at(-1)! + Math.log2(12)).toBeLessThan(Math.log2(7.8));
    expect(last.reasons.some((reason) => reason.endsWith("for the highlights"))).toBe(true);
    const open = { ...bright, clippedShareMax: 1 };
    const unprotected = govern({ levelAt: () => -9, peakRatio: 12, settings: () => open }, 20);
    expect(Math.abs(unprotected.errors.at(-1)!)).toBeLessThan(0.05);
  });

  it("does not go under the target for frames that clipped because the sky overran them", () => {
    const quiet = govern({ levelAt: () => -10 }, 30).decisions.at(-1)!;
    const opened = (frameIndex: number) => monotonicMs(frameIndex * 16_000);
    const overrun = (state: GovernorState, frameIndex: number): GovernorState =>
      observeFrame(
        state,
        {
          frameIndex,
          openedMs: opened(frameIndex),
          exposure: quiet.exposure,
          skyStops: settings.targetStops + 3,
          uncertaintyStops: 0.02,
          peakRatio: 2,
          clippedShare: 0.2,
          motion: { kind: "unknown", why: "no structure" },
        },
        settings,
      );
    const state = overrun(overrun(quiet.state, 60), 61);
    expect(state.loweredStops).toBe(0);
    const after = governExposure(state, { openAtMs: opened(62), frameIndex: 62 }, settings);
    expect(after.reasons.join()).not.toMatch(/highlights/);
  });

  it("shortens the next frame at once when the curtains quicken, and lengthens it by halves", () => {
    const speeds = [4, 4, 4, 12, 4, 4];
    const noise = govern({ levelAt: () => -7, pxPerSecond: 4 }, 10).decisions.at(-1)!;
    let state = noise.state;
    const longest: number[] = [];
    for (const [index, pxPerSecond] of speeds.entries()) {
      const frameIndex = 20 + index;
      const openedMs = monotonicMs(frameIndex * 16_000);
      state = observeFrame(
        state,
        {
          frameIndex,
          openedMs,
          exposure: noise.exposure,
          skyStops: settings.targetStops,
          uncertaintyStops: 0.02,
          peakRatio: 2,
          clippedShare: 0,
          motion: { kind: "measured", degPerSecond: 0.1, pxPerSecond },
        },
        settings,
      );
      longest.push(state.curtains!.pxPerSecond);
    }
    expect(longest).toEqual([4, 4, 4, 12, 8, 6]);
  });

  it("holds its order while a camera rounds every time to a third of a stop", () => {
    const thirds = (seconds: number): number => 2 ** (Math.round(3 * Math.log2(seconds)) / 3);
    const { decisions, errors } = govern(
      {
        levelAt: () => -10.1,
        happens: (order) => ({ ...order, exposureSeconds: thirds(order.exposureSeconds) }),
      },
      80,
    );
    const orders = decisions
      .slice(20)
      .map(({ exposure }) => Math.log2(exposure.exposureSeconds * exposure.iso));
    expect(Math.max(...orders) - Math.min(...orders)).toBeLessThan(0.05);
    for (const error of errors.slice(20)) expect(Math.abs(error)).toBeLessThan(1 / 6 + 0.05);
  });

  it("does not run away when a camera ignores the ISO and stays at 800", () => {
    const { decisions } = govern(
      { levelAt: () => -11, happens: (order) => ({ ...order, iso: 800 }) },
      80,
    );
    const wanted = Math.log2(secondsIsoFor(-11, settings.targetStops, settings));
    for (const { exposure } of decisions.slice(5)) {
      const ordered = Math.log2(exposure.exposureSeconds * exposure.iso);
      expect(Math.abs(ordered - wanted)).toBeLessThan(0.05);
    }
  });

  it("learns nothing from a senseless reading", () => {
    const state = startGovernor(null);
    const odd = observation({ skyStops: NaN });
    expect(observeFrame(state, odd, settings)).toBe(state);
    expect(observeFrame(state, { ...odd, skyStops: -2, peakRatio: Infinity }, settings)).toBe(
      state,
    );
  });

  it("holds the curtains' speed for two frames in which it could not be measured, then halves it every ten seconds until none is left", () => {
    let state = startGovernor(null);
    const at0 = observation({}).openedMs;
    state = observeFrame(state, observation({ motion: measured(12) }), settings);
    for (let index = 0; index < 2; index += 1) {
      state = observeFrame(state, observation({ motion: unknown }), settings);
      expect(state.curtains?.pxPerSecond).toBe(12);
    }
    for (const [step, pxPerSecond] of [6, 3, 1.5, 0.75, 0.375, 0.1875].entries()) {
      const openedMs = monotonicMs(at0 + (step + 1) * 10_000);
      state = observeFrame(state, observation({ motion: unknown, openedMs }), settings);
      expect(state.curtains?.pxPerSecond).toBeCloseTo(pxPerSecond, 9);
    }
    const openedMs = monotonicMs(at0 + 70_000);
    const last = observation({ motion: unknown, openedMs });
    expect(observeFrame(state, last, settings).curtains).toBeNull();
  });

  it("stays within every limit, on the ladder and free of NaN, whatever it is given", () => {
    fc.assert(
      fc.property(
        fc.array(anyObservation, { maxLength: 25 }),
        anySettings,
        (observations, limits) => {
          let state = startGovernor(null);
          for (const [index, each] of observations.entries()) {
            const order = { openAtMs: monotonicMs(index * 9000), frameIndex: index };
            const decision = governExposure(state, order, limits);
            const { exposureSeconds, iso } = decision.exposure;
            expect(exposureSeconds).toBeGreaterThanOrEqual(limits.exposureSecondsMin);
            expect(exposureSeconds).toBeLessThanOrEqual(limits.exposureSecondsMax);
            expect(usableIsos(limits.isoLadder, limits)).toContain(iso);
            expect(decision.reasons.length).toBeGreaterThan(0);
            expect(JSON.stringify(decision.reasons)).not.toMatch(/NaN|Infinity|undefined/);
            const lit = observeLight(decision.state, {
              atMs: order.openAtMs,
              value: each.skyStops,
            });
            state = observeFrame(lit, each, limits);
          }
        },
      ),
      { numRuns: 150 },
    );
  });

  it("decides the same again from the same events, bit for bit, also after a trip through JSON", () => {
    const once = govern({ levelAt: (frame) => -10 + Math.sin(frame / 5) }, 60);
    const again = govern({ levelAt: (frame) => -10 + Math.sin(frame / 5) }, 60);
    expect(again.decisions).toEqual(once.decisions);
    const { state } = once.decisions.at(-1)!;
    const revived = JSON.parse(JSON.stringify(state)) as GovernorState;
    expect(revived).toEqual(state);
    const order = { openAtMs: monotonicMs(2e6), frameIndex: 60 };
    expect(governExposure(revived, order, settings)).toEqual(
      governExposure(state, order, settings),
    );
  });
});

describe("closing by the light meter", () => {
  /** A governor that has learned a meter of scale 1000, and an order of it. */
  function lit(levelAt: (frame: number) => number = () => -8): {
    state: GovernorState;
    open: { openedMs: ReturnType<typeof monotonicMs>; exposure: Exposure };
    reasons: readonly string[];
  } {
    let state = startGovernor(null);
    let atSeconds = 0;
    for (let frameIndex = 0; frameIndex < 30; frameIndex += 1) {
      const openedMs = monotonicMs(atSeconds * 1000);
      const { exposure, state: ordered } = governExposure(
        state,
        { openAtMs: openedMs, frameIndex },
        settings,
      );
      const luminance = 2 ** levelAt(frameIndex);
      state = shine(ordered, atSeconds, exposure.exposureSeconds + 1, luminance);
      const skyStops = stopsFromMidGrey(luminance, exposure);
      state = observeFrame(
        state,
        observation({ frameIndex, openedMs, exposure, skyStops }),
        settings,
      );
      atSeconds += exposure.exposureSeconds + 1;
    }
    const openedMs = monotonicMs(atSeconds * 1000);
    const decision = governExposure(state, { openAtMs: openedMs, frameIndex: 30 }, settings);
    const open = { openedMs, exposure: decision.exposure };
    return { state: decision.state, open, reasons: decision.reasons };
  }

  function shine(
    state: GovernorState,
    fromSeconds: number,
    seconds: number,
    luminance: number,
  ): GovernorState {
    const noise = createRandom(fromSeconds);
    let known = state;
    for (let tick = 1; tick <= seconds * 10; tick += 1) {
      const atMs = monotonicMs(fromSeconds * 1000 + tick * 100);
      known = observeLight(known, { atMs, value: 1000 * luminance * (1 + 0.01 * noise.normal()) });
    }
    return known;
  }

  it("closes within a tenth of a stop of the aim when the sky becomes 8 times as bright", () => {
    const { state, open } = lit();
    let known = state;
    let elapsed = 0;
    while (elapsed < open.exposure.exposureSeconds) {
      elapsed += 0.1;
      const atMs = monotonicMs(open.openedMs + elapsed * 1000);
      known = observeLight(known, {
        atMs,
        value: 1000 * 2 ** -5 * (1 + 0.001 * Math.sin(elapsed)),
      });
      if (hasHadItsDose(known, open, atMs, settings)) break;
    }
    const got = stopsFromMidGrey(2 ** -5, { ...open.exposure, exposureSeconds: elapsed });
    expect(Math.abs(got - settings.targetStops)).toBeLessThan(0.1);
  });

  it("speaks of no curtains where none were seen, also when the room it takes puts ISO at its cap", () => {
    const jumpy = createRandom("jumpy");
    for (let level = -16; level <= -10; level += 0.25) {
      const { reasons } = lit(() => level + 0.4 * jumpy.normal());
      expect(reasons.join("; ")).not.toMatch(/curtains|Infinity/);
    }
  });

  it("lets a frame of a steady sky run its time", () => {
    const { state, open } = lit();
    let known = state;
    for (let elapsed = 0.1; elapsed < 0.97 * state.order!.plainSeconds; elapsed += 0.1) {
      const atMs = monotonicMs(open.openedMs + elapsed * 1000);
      known = observeLight(known, {
        atMs,
        value: 1000 * 2 ** -8 * (1 + 0.001 * Math.sin(elapsed)),
      });
      expect(hasHadItsDose(known, open, atMs, settings)).toBe(false);
    }
  });

  it("never closes before the shortest exposure, and never by a meter that is not trusted", () => {
    const { state, open } = lit();
    const flash = observeLight(state, { atMs: monotonicMs(open.openedMs + 300), value: 1e6 });
    expect(hasHadItsDose(flash, open, monotonicMs(open.openedMs + 300), settings)).toBe(false);
    const fresh = observeLight(startGovernor(null), { atMs: monotonicMs(900), value: 1e6 });
    const early = { openedMs: monotonicMs(0), exposure: open.exposure };
    expect(hasHadItsDose(fresh, early, monotonicMs(900), settings)).toBe(false);
  });
});

const unknown = { kind: "unknown", why: "no structure" } as const;
const measured = (pxPerSecond: number) =>
  ({ kind: "measured", degPerSecond: 0.1, pxPerSecond }) as const;

function observation(change: Partial<FrameObservation>): FrameObservation {
  return {
    frameIndex: 0,
    openedMs: monotonicMs(0),
    exposure: { exposureSeconds: 10, iso: 1600, fNumber: 2.8 },
    skyStops: -2,
    uncertaintyStops: 0.02,
    peakRatio: 2,
    clippedShare: 0,
    motion: unknown,
    ...change,
  };
}

const anyObservation: fc.Arbitrary<FrameObservation> = fc.record({
  frameIndex: fc.nat(1000),
  openedMs: fc.double({ min: 0, max: 1e8, noNaN: true }).map(monotonicMs),
  exposure: fc.record({
    exposureSeconds: fc.double({ min: 0, max: 60, noNaN: true }),
    iso: fc.constantFrom(100, 1600, 25600),
    fNumber: fc.constantFrom(1.4, 2.8),
  }),
  skyStops: fc.double({ min: -100, max: 100 }),
  uncertaintyStops: fc.double(),
  peakRatio: fc.double(),
  clippedShare: fc.double(),
  motion: fc.oneof(
    fc.constant(unknown),
    fc.double().map((speed) => measured(speed)),
  ),
});

const anySettings: fc.Arbitrary<ExposureSettings> = fc
  .record({
    targetStops: fc.double({ min: -8, max: 3, noNaN: true }),
    isoMin: fc.constantFrom(100, 200, 800),
    isoMax: fc.constantFrom(800, 6400, 12800),
    isoLadder: fc.constantFrom([], [100, 200, 400, 800, 1600], [6400]),
    a: fc.double({ min: 0.01, max: 30, noNaN: true }),
    b: fc.double({ min: 0.01, max: 30, noNaN: true }),
    intervalSeconds: fc.constantFrom(0, 5, 30),
    blurPx: fc.double({ min: 1, max: 100, noNaN: true }),
    clippedShareMax: fc.constantFrom(0, 0.002, 1),
    stopsPerMinuteMax: fc.constantFrom(null, 0, 0.5),
  })
  .map(({ a, b, ...rest }) => ({
    ...DEFAULT_EXPOSURE_SETTINGS,
    ...rest,
    exposureSecondsMin: Math.min(a, b),
    exposureSecondsMax: Math.max(a, b),
  }));
