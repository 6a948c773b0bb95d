import { secondsIsoFor } from "../../core/exposure/allocation.ts";
import { DEFAULT_EXPOSURE_SETTINGS, type ExposureSettings } from "../../core/exposure/settings.ts";
import { createRandom } from "../../core/random.ts";
import {
  DEFAULT_REHEARSAL_TIMING,
  rehearse,
  testFrameExposure,
} from "../../core/rehearsal/rehearsal.ts";
import type { LightMeterSimulation } from "../../core/rehearsal/lightMeterSimulation.ts";
import {
  oracleRule,
  persistenceRule,
  rehearseRule,
  stepperRule,
  type ExposureRule,
  type RuleContext,
} from "../support/rivalRules.ts";
import { type RehearsalTiming } from "../../core/rehearsal/timing.ts";
import { scoreOf, type RehearsalFrame } from "../../core/rehearsal/score.ts";
import { readSky, type RehearsalSky } from "../../core/rehearsal/givenSky.ts";
import { makeSky, type SkyKind } from "../support/skySuite.ts";

/** One row of the suite: a kind of sky, drawn from several seeds, scored together. */
export type SuiteSky = {
  readonly name: string;
  readonly kind: SkyKind;
  readonly hours: number;
  /** A single step falls anywhere within a frame; so many of them take out that luck. */
  readonly seedCount: number;
};

export const SUITE: readonly SuiteSky[] = [
  { name: "twilight ramp", kind: "twilight", hours: 1.5, seedCount: 4 },
  { name: "moonrise behind a quiet arc", kind: "moonrise", hours: 2, seedCount: 3 },
  { name: "growth phase and breakup", kind: "breakup", hours: 2, seedCount: 3 },
  { name: "double breakup", kind: "doubleBreakup", hours: 2, seedCount: 3 },
  { name: "pulsating, periods of 2 to 5 s", kind: "pulsatingFast", hours: 1, seedCount: 3 },
  { name: "pulsating, periods of 6 to 10 s", kind: "pulsating", hours: 1, seedCount: 3 },
  { name: "pulsating, periods of 11 to 20 s", kind: "pulsatingSlow", hours: 1, seedCount: 3 },
  { name: "storm with surges to IBC IV", kind: "storm", hours: 1.5, seedCount: 3 },
  { name: "passing clouds", kind: "cloud", hours: 2, seedCount: 3 },
  { name: "quiet sky", kind: "quiet", hours: 2, seedCount: 3 },
  { name: "one step of three stops", kind: "step", hours: 0.4, seedCount: 16 },
];

/** How one rule did on one row of the suite. */
export type RuleScore = {
  readonly rmsErrorStops: number;
  /** Root mean square of the change of time × ISO from frame to frame. */
  readonly rmsStepStops: number;
  readonly frames: number;
  readonly reachableFrames: number;
  readonly clippedFrames: number;
};

export type RuleName = "governor" | "persistence" | "stepper" | "oracle";

export type Conditions = {
  readonly settings: ExposureSettings;
  readonly timing: RehearsalTiming;
  readonly lightMeter: LightMeterSimulation | null;
};

export const DEFAULT_CONDITIONS: Conditions = {
  settings: DEFAULT_EXPOSURE_SETTINGS,
  timing: DEFAULT_REHEARSAL_TIMING,
  lightMeter: null,
};

const RULES: Readonly<
  Record<Exclude<RuleName, "governor">, (context: RuleContext) => ExposureRule>
> = { persistence: persistenceRule, stepper: stepperRule, oracle: oracleRule };

/** A sky's frames under a rule; the governor runs inside the night's own watch. */
export function framesUnder(
  name: RuleName,
  sky: RehearsalSky,
  { settings, timing, lightMeter }: Conditions,
  seed: number | string,
): readonly RehearsalFrame[] {
  const first = testFrameExposure(sky, { settings, timing, seed });
  if (name === "governor") return rehearse(sky, { settings, timing, lightMeter, seed, first });
  const random = createRandom(`${seed}/${name}`);
  const rule = RULES[name]({ sky: readSky(sky), settings, random, first });
  return rehearseRule(sky, rule, { settings, timing, random });
}

/** Scores a rule over a row's skies, seeds from `firstSeed` on, all their frames together. */
export function scoreRule(
  name: RuleName,
  row: SuiteSky,
  firstSeed: number,
  conditions: Conditions = DEFAULT_CONDITIONS,
): RuleScore {
  const scores = Array.from({ length: row.seedCount }, (_, index) => {
    const seed = firstSeed + index;
    const frames = framesUnder(name, makeSky(row.kind, seed, row.hours), conditions, seed);
    return { ...scoreOf(frames, conditions.settings), steps: stepsOf(frames) };
  });
  const reachableFrames = sum(scores.map((score) => score.reachableFrames));
  const squares = sum(scores.map((score) => score.rmsErrorStops ** 2 * score.reachableFrames));
  const steps = scores.flatMap((score) => score.steps);
  return {
    rmsErrorStops: Math.sqrt(squares / reachableFrames),
    rmsStepStops: Math.sqrt(sum(steps.map((step) => step * step)) / steps.length),
    frames: sum(scores.map((score) => score.frames)),
    reachableFrames,
    clippedFrames: sum(scores.map((score) => score.clippedFrames)),
  };
}

/** Changes of time × ISO from each frame to the next, stops. */
function stepsOf(frames: readonly RehearsalFrame[]): number[] {
  return frames.slice(1).map(({ exposure }, index) => {
    const before = frames[index]!.exposure;
    return Math.log2(
      (exposure.exposureSeconds * exposure.iso) / (before.exposureSeconds * before.iso),
    );
  });
}

function sum(values: readonly number[]): number {
  return values.reduce((total, value) => total + value, 0);
}

/** The governor beside persistence on one row. */
export type Pair = {
  readonly row: SuiteSky;
  readonly governor: RuleScore;
  readonly persistence: RuleScore;
};

/** One row of the whole comparison. */
export type Comparison = Pair & { readonly stepper: RuleScore; readonly oracle: RuleScore };

export function pairSuite(firstSeed: number, conditions: Conditions = DEFAULT_CONDITIONS): Pair[] {
  return SUITE.map((row) => ({
    row,
    governor: scoreRule("governor", row, firstSeed, conditions),
    persistence: scoreRule("persistence", row, firstSeed, conditions),
  }));
}

export function compareSuite(
  firstSeed: number,
  conditions: Conditions = DEFAULT_CONDITIONS,
): Comparison[] {
  return pairSuite(firstSeed, conditions).map((pair) => ({
    ...pair,
    stepper: scoreRule("stepper", pair.row, firstSeed, conditions),
    oracle: scoreRule("oracle", pair.row, firstSeed, conditions),
  }));
}

export function ratioOf({ governor, persistence }: Pair): number {
  return governor.rmsErrorStops / persistence.rmsErrorStops;
}

export function geometricMean(values: readonly number[]): number {
  return Math.exp(sum(values.map((value) => Math.log(value))) / values.length);
}

/** A sky of constant level with one step of the given size at a moment. */
export function stepSky(options: {
  readonly level: number;
  readonly stepStops: number;
  readonly atSeconds: number;
  readonly seconds: number;
}): RehearsalSky {
  const { level, stepStops, atSeconds, seconds } = options;
  const before = 2 ** level;
  const after = 2 ** (level + stepStops);
  return {
    seconds: Float64Array.of(0, atSeconds, atSeconds, seconds),
    luminanceCdM2: Float64Array.of(before, before, after, after),
    peakRatio: Float64Array.of(2, 2, 2, 2),
    driftDegPerSecond: Float64Array.of(0, 0, 0, 0),
    remarks: [],
  };
}

/** Level at which a sky is exposed for so many seconds at an ISO. */
export function levelFor(
  exposureSeconds: number,
  iso: number,
  settings: ExposureSettings = DEFAULT_EXPOSURE_SETTINGS,
): number {
  return Math.log2(secondsIsoFor(0, settings.targetStops, settings) / (exposureSeconds * iso));
}
