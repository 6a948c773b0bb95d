import type { MonotonicMs } from "../units.ts";
import {
  allocate,
  asAsked,
  secondsIsoFor,
  timeLimits,
  type Allocation,
  type ExposureLimit,
} from "./allocation.ts";
import { stopsFromMidGrey, type Exposure } from "./exposure.ts";
import { learn, moodOf, outlook, startForecast, type Forecast, type Outlook } from "./forecast.ts";
import {
  expectFrame,
  mixByRecord,
  recordAfter,
  startForecastRecord,
  type Expectation,
  type ForecastRecord,
} from "./forecastRecord.ts";
import { CEILING_STOPS, unclippedStops } from "./highlights.ts";
import {
  addLight,
  calibrateLight,
  closingErrorStops,
  lightBetween,
  lightMeterTrust,
  lightNoiseStops,
  lightStepSeconds,
  startLightMeter,
  type LightMeter,
  type LightMeterTrust,
} from "./lightMeter.ts";
import { usableIsos } from "./ladder.ts";
import { curtainSecondsOf } from "./limits.ts";
import {
  curtainsAfter,
  loweredAfter,
  moodToTell,
  recentAfter,
  type CurtainMemory,
  type RecentLevels,
} from "./memory.ts";
import { isUsable, levelOf, middleSecondsOf, type FrameObservation } from "./observation.ts";
import { reasonsFor, type DecisionFacts } from "./reasons.ts";
import type { ExposureSettings } from "./settings.ts";

export type { FrameObservation } from "./observation.ts";

/** What the governor remembers: plain immutable data, the same after a replay of the same events. */
export type GovernorState = {
  readonly first: Exposure | null;
  readonly newest: FrameObservation | null;
  readonly forecast: Forecast;
  readonly record: ForecastRecord;
  readonly light: LightMeter;
  readonly recent: RecentLevels;
  readonly curtains: CurtainMemory | null;
  /** How far under the target clipped readings have driven the exposure, stops, ≥ 0. */
  readonly loweredStops: number;
  /** The newest order; null: none yet. */
  readonly order: {
    readonly openAtMs: MonotonicMs;
    readonly secondsIso: number;
    readonly iso: number;
    /** Brightness that this frame aims at, stops from mid-grey. */
    readonly aimStops: number;
    /** Exposure that the forecast asked for; the order is longer when the light meter closes it. */
    readonly plainSeconds: number;
  } | null;
};

/** The next exposure, with the reasons that are shown to the photographer. */
export type GovernDecision = {
  readonly exposure: Exposure;
  readonly reasons: readonly string[];
  readonly limit: ExposureLimit;
  /** False when no exposure within the limits meets the target. */
  readonly isReachable: boolean;
  readonly state: GovernorState;
};

/** @param first  Exposure of the first frame; null: a guess for a dark sky. */
export function startGovernor(first: Exposure | null): GovernorState {
  return {
    first,
    newest: null,
    forecast: startForecast(),
    record: startForecastRecord(),
    light: startLightMeter(),
    recent: [],
    curtains: null,
    loweredStops: 0,
    order: null,
  };
}

/** A reading is never believed to be better than this, stops: noise in the suite is 0.02, so half and double change nothing. */
const NOISE_STOPS_MIN = 0.01;
/** Nor worse than this: it would teach nothing anyway; 2 and 8 change nothing in the suite. */
const NOISE_STOPS_MAX = 4;

/** Takes in what a frame's reading said; a senseless reading changes nothing. */
export function observeFrame(
  state: GovernorState,
  observation: FrameObservation,
  settings: ExposureSettings,
): GovernorState {
  if (!isUsable(observation)) return state;
  const correctionStops =
    unclippedStops(observation.skyStops, observation.clippedShare) - observation.skyStops;
  const level = levelOf(observation) + correctionStops;
  const atSeconds = middleSecondsOf(observation);
  const openedSeconds = observation.openedMs / 1000;
  const uncertainty = Number.isFinite(observation.uncertaintyStops)
    ? Math.min(NOISE_STOPS_MAX, Math.abs(observation.uncertaintyStops))
    : NOISE_STOPS_MAX;
  // What was cut off is only half known: wholly or a quarter doubted, a storm at target 0 errs by 0.234
  // and 0.233 stops against 0.237.
  const noise = Math.max(NOISE_STOPS_MIN, Math.hypot(uncertainty, correctionStops / 2));
  return {
    ...state,
    newest: observation,
    forecast: learn(state.forecast, { atSeconds, level, noise }),
    record: recordAfter(state.record, observation.frameIndex, level),
    light: calibrateLight(state.light, {
      openedSeconds,
      closedSeconds: openedSeconds + observation.exposure.exposureSeconds,
      level,
    }),
    recent: recentAfter(state.recent, { atSeconds, level }),
    curtains: curtainsAfter(state.curtains, observation),
    loweredStops: loweredAfter(
      state.loweredStops,
      { ...observation, skyStops: observation.skyStops + correctionStops },
      settings,
    ),
  };
}

/** Takes in a sample of the sky light meter, whose scale is learned from the frames. */
export function observeLight(
  state: GovernorState,
  sample: { readonly atMs: MonotonicMs; readonly value: number },
): GovernorState {
  const light = addLight(state.light, { atSeconds: sample.atMs / 1000, value: sample.value });
  if (light === state.light) return state;
  // Spelled out: ten times a second all night, and many times faster than spreading.
  const { first, newest, forecast, record, recent, curtains, loweredStops, order } = state;
  return { first, newest, forecast, record, light, recent, curtains, loweredStops, order };
}

/** A dark sky without the Moon or aurora, 21.6 mag/arcsec². Source: Patat 2003. */
const DARK_SKY_LEVEL = Math.log2(2.5e-4);

/**
 * Chooses the exposure that brings the coming frame to the target, within the limits.
 *
 * @returns An exposure that always lies within the settings' limits, on the ISO ladder.
 */
export function governExposure(
  state: GovernorState,
  order: { readonly openAtMs: MonotonicMs; readonly frameIndex: number },
  settings: ExposureSettings,
): GovernDecision {
  const openSeconds = order.openAtMs / 1000;
  const curtainSeconds =
    state.curtains === null
      ? Infinity
      : curtainSecondsOf(
          { kind: "measured", degPerSecond: 0, pxPerSecond: state.curtains.pxPerSecond },
          settings,
        );
  const constraints = { curtainSeconds, heldIso: state.order?.iso ?? null };
  const view = lookAhead(state, openSeconds);
  const aimed = aim(state, { openSeconds, view, constraints }, settings);
  const split = aimed.split;
  const exposureSeconds = stretch(split, { aimed, constraints }, settings);
  const facts: DecisionFacts = {
    start: state.newest !== null ? "governed" : state.first !== null ? "asked" : "guessed",
    ...changeOf(state, openSeconds),
    aheadStops: state.newest === null ? 0 : aimed.level - levelOf(state.newest),
    aheadDoubtStops: aimed.expected?.bank.spread ?? 0,
    mood: moodToTell(moodOf(state.forecast), state.recent),
    limit: aimed.limit,
    exposureSeconds,
    iso: split.iso,
    heldIso: constraints.heldIso,
    curtainSeconds,
    isCurtainScaleGuessed: state.curtains?.isScaleGuessed ?? false,
    loweredStops: aimed.loweredStops,
    slowedStops: aimed.slowedStops,
    secondsWithoutReading: openSeconds - (state.recent.at(-1)?.atSeconds ?? openSeconds),
    light: view.trust,
  };
  return {
    exposure: { exposureSeconds, iso: split.iso, fNumber: settings.fNumber },
    reasons: reasonsFor(facts),
    limit: aimed.limit,
    isReachable: split.isReachable && aimed.limit !== "highlights",
    state: {
      ...state,
      record:
        aimed.expected === null
          ? state.record
          : expectFrame(state.record, { frameIndex: order.frameIndex, ...aimed.expected }),
      order: {
        openAtMs: order.openAtMs,
        secondsIso: split.exposureSeconds * split.iso,
        iso: split.iso,
        aimStops: settings.targetStops - aimed.loweredStops + aimed.slowedStops,
        plainSeconds: split.exposureSeconds,
      },
    },
  };
}

/** The forecast as it stands when the shutter opens, the light meter's word included. */
type View = {
  readonly forecast: Forecast;
  /** The newest level that has been measured; null: none. */
  readonly newestLevel: number | null;
  readonly trust: LightMeterTrust;
};

/** Light of the last second says where the sky is now: ten samples. Half: 0.023 stops of error in a storm against 0.025, without averaging a slow meter; double: 0.030. */
const LIGHT_NOW_SECONDS = 1;

function lookAhead(state: GovernorState, openSeconds: number): View {
  const { forecast, light, recent } = state;
  const trust = lightMeterTrust(light, openSeconds);
  const byFrames: View = { forecast, newestLevel: recent.at(-1)?.level ?? null, trust };
  if (trust.kind === "ignored" || forecast.atSeconds === null) return byFrames;
  const fromSeconds = openSeconds - LIGHT_NOW_SECONDS;
  const luminance = lightBetween(light, fromSeconds, openSeconds);
  if (luminance === null) return byFrames;
  const reading = {
    atSeconds: openSeconds - LIGHT_NOW_SECONDS / 2,
    level: Math.log2(luminance),
    noise: lightNoiseStops(light),
  };
  return { forecast: learn(forecast, reading), newestLevel: reading.level, trust };
}

type Aimed = {
  readonly split: Allocation;
  readonly limit: ExposureLimit;
  readonly level: number;
  /** What the forecasters said of it; null before the first reading. */
  readonly expected: Omit<Expectation, "frameIndex"> | null;
  /** How many times longer than the forecast asks for the light meter may let the frame run. */
  readonly room: number;
  readonly loweredStops: number;
  readonly slowedStops: number;
};

type Constraints = { readonly curtainSeconds: number; readonly heldIso: number | null };

function aim(
  state: GovernorState,
  given: { openSeconds: number; view: View; constraints: Constraints },
  settings: ExposureSettings,
): Aimed {
  const { openSeconds, view } = given;
  const unlit: Outlook = { level: DARK_SKY_LEVEL, spread: 3 };
  if (state.newest === null && state.first !== null) {
    const split = asAsked(state.first, settings);
    const { level } = unlit;
    const unmoved = { expected: null, room: 1, loweredStops: 0, slowedStops: 0 };
    return { split, limit: split.limit, level, ...unmoved };
  }
  // How long the exposure will be depends on the forecast, and the forecast on its middle: one round
  // costs 0.3 % of error in the suite, six gain nothing, nor does an end at 2.5 % or 10 %.
  let seconds = state.order?.plainSeconds ?? timeLimits(settings).max;
  let aimed: Aimed | null = null;
  for (let round = 0; round < 3; round += 1) {
    const expected = expectationAt(view, openSeconds + seconds / 2);
    const ahead =
      expected === null ? unlit : mixByRecord(state.record, expected.bank, expected.plainLevel);
    const room = roomFor(state.light, view.trust, ahead.spread, seconds);
    aimed = { ...aimAt(state, { ...given, ahead, room }, settings), expected };
    if (Math.abs(aimed.split.exposureSeconds / seconds - 1) < 0.05) break;
    seconds = aimed.split.exposureSeconds;
  }
  return aimed!;
}

function expectationAt({ forecast, newestLevel }: View, atSeconds: number): Aimed["expected"] {
  const bank = outlook(forecast, atSeconds);
  return bank === null || newestLevel === null ? null : { bank, plainLevel: newestLevel };
}

/** Less than this under the target is not worth a word: it is what the meter's noise does. Half and double change no exposure. */
const LOWERED_STOPS_MIN = 0.02;

function aimAt(
  state: GovernorState,
  given: { openSeconds: number; ahead: Outlook; constraints: Constraints; room: number },
  settings: ExposureSettings,
): Omit<Aimed, "expected"> {
  const { openSeconds, ahead, constraints, room } = given;
  const wanted = secondsIsoFor(ahead.level, settings.targetStops, settings);
  const slowed = smooth(state, wanted, openSeconds, settings);
  const bright = protect(state, slowed, ahead, settings);
  const split = allocateWithRoom(bright, { constraints, room }, settings);
  const loweredStops = Math.log2(slowed / bright);
  return {
    split,
    limit: loweredStops > LOWERED_STOPS_MIN && split.isReachable ? "highlights" : split.limit,
    level: ahead.level,
    room,
    loweredStops,
    slowedStops: Math.log2(slowed / wanted),
  };
}

/** Holds the change of time × ISO to what a smooth film allows. */
function smooth(
  { order }: GovernorState,
  wanted: number,
  openSeconds: number,
  { stopsPerMinuteMax }: ExposureSettings,
): number {
  if (stopsPerMinuteMax === null || order === null) return wanted;
  const minutes = Math.max(0, openSeconds - order.openAtMs / 1000) / 60;
  const most = Math.max(0, stopsPerMinuteMax) * minutes;
  const change = Math.log2(wanted / order.secondsIso);
  return order.secondsIso * 2 ** Math.min(most, Math.max(-most, change));
}

/** Peaks this close under the ceiling allow no bet on the sky becoming darker. Half and double: a storm at target 0 errs by 0.234 and 0.236 stops against 0.237, a breakup by 0.139 and 0.148. */
const NEAR_CEILING_STOPS = 0.7;

/**
 * Keeps the brightest parts under the ceiling, by the forecast and by the newest reading alike, so
 * that no frame clips which a rule without foresight would have kept.
 */
function protect(
  state: GovernorState,
  wanted: number,
  ahead: Outlook,
  settings: ExposureSettings,
): number {
  const { newest, loweredStops } = state;
  if (!(settings.clippedShareMax < 1) || newest === null) return wanted;
  const level = Math.max(ahead.level, state.recent.at(-1)?.level ?? -Infinity);
  const marginStops = settings.highlightHeadroomStops + Math.min(0.5, ahead.spread);
  const peakStops = Math.log2(Math.max(1, newest.peakRatio));
  const isNear = settings.targetStops + peakStops > CEILING_STOPS - NEAR_CEILING_STOPS;
  const highestStops = CEILING_STOPS - marginStops - peakStops;
  const highest = secondsIsoFor(
    level,
    isNear ? Math.min(settings.targetStops, highestStops) : highestStops,
    settings,
  );
  return Math.min(wanted, highest, wanted * 2 ** -loweredStops);
}

/** A forecast's spread below so many closing errors: the bulb's exact seconds are better. In a storm with a light meter half of it errs by 0.039 stops, double by 0.025, as this does. */
const CALM = 1.5;
/** Room for the sky to fall short of the forecast, in spreads (half and double: 0.0248 and 0.0241 stops of error in a storm against 0.0246), and at most so many stops (no change). */
const ROOM_SPREADS = 2.5;
const ROOM_STOPS_MAX = 1.5;

/**
 * With the light meter to close the shutter, the order may be longer than the forecast asks for,
 * by what the sky may fall short of it. 1: the forecast is good enough, or there is no meter.
 */
function roomFor(
  light: LightMeter,
  trust: LightMeterTrust,
  spread: number,
  exposureSeconds: number,
): number {
  const isCalm = spread < CALM * closingErrorStops(light, exposureSeconds);
  if (trust.kind === "ignored" || isCalm) return 1;
  return 2 ** Math.min(ROOM_STOPS_MAX, ROOM_SPREADS * spread);
}

/** Splits a dose so that the exposure may run longer within the limits, at a higher ISO if need be. */
function allocateWithRoom(
  dose: number,
  { constraints, room }: { constraints: Constraints; room: number },
  settings: ExposureSettings,
): Allocation {
  const plain = allocate(dose, constraints, settings);
  if (room <= 1) return plain;
  const curtainSeconds = Math.min(timeLimits(settings).max, constraints.curtainSeconds) / room;
  const roomy = allocate(dose, { ...constraints, curtainSeconds }, settings);
  // The room may cost the curtains their crispness, which is worth a word; without any it does not.
  const costsCurtains = roomy.limit === "isoCap" && Number.isFinite(constraints.curtainSeconds);
  return { ...roomy, limit: costsCurtains ? roomy.limit : plain.limit };
}

/** The order's length: room included, but never past what trails and curtains allow. */
function stretch(
  split: Allocation,
  { aimed, constraints }: { aimed: Aimed; constraints: Constraints },
  settings: ExposureSettings,
): number {
  if (aimed.room <= 1) return split.exposureSeconds;
  const { max } = timeLimits(settings);
  const isCapped = split.iso === usableIsos(settings.isoLadder, settings).at(-1);
  const longest = isCapped ? max : Math.min(max, constraints.curtainSeconds);
  return Math.max(split.exposureSeconds, Math.min(longest, split.exposureSeconds * aimed.room));
}

/**
 * The sky's change is put in words against the oldest level of so many seconds: with frames of 16 s
 * that is one of about a minute ago. Chooses words alone: half and double change no exposure.
 */
const CHANGE_SECONDS = 75;

function changeOf(
  { recent }: GovernorState,
  openSeconds: number,
): Pick<DecisionFacts, "changeStops" | "changeSeconds"> {
  const newest = recent.at(-1);
  const then =
    recent.find(({ atSeconds }) => atSeconds >= openSeconds - CHANGE_SECONDS) ?? recent[0];
  if (newest === undefined || then === undefined || then === newest) {
    return { changeStops: null, changeSeconds: 0 };
  }
  return {
    changeStops: newest.level - then.level,
    changeSeconds: newest.atSeconds - then.atSeconds,
  };
}

/**
 * True when the light meter says that this open frame has had its dose: the light so far is
 * nearer to the aim than the light after one more sample would be. Never before the shortest
 * exposure, never by a meter that is not trusted.
 */
export function hasHadItsDose(
  state: GovernorState,
  open: { readonly openedMs: MonotonicMs; readonly exposure: Exposure },
  nowMs: MonotonicMs,
  settings: ExposureSettings,
): boolean {
  const { order, light } = state;
  if (order === null) return false;
  const openedSeconds = open.openedMs / 1000;
  const nowSeconds = nowMs / 1000;
  const elapsed = nowSeconds - openedSeconds;
  const left = open.exposure.exposureSeconds - elapsed;
  const stepSeconds = lightStepSeconds(light);
  if (elapsed < settings.exposureSecondsMin || left <= stepSeconds / 2) return false;
  if (lightMeterTrust(light, nowSeconds).kind === "ignored") return false;
  const mean = lightBetween(light, openedSeconds, nowSeconds);
  const rate = lightBetween(light, nowSeconds - stepSeconds, nowSeconds);
  if (mean === null || rate === null) return false;
  const wanted =
    2 ** (order.aimStops - stopsFromMidGrey(1, { ...open.exposure, exposureSeconds: 1 }));
  const had = mean * elapsed;
  if (had + (rate * stepSeconds) / 2 < wanted) return false;
  // A frame ordered for the forecast's own seconds ends exactly enough unless the sky has jumped.
  const isStretched = open.exposure.exposureSeconds > 1.0001 * order.plainSeconds;
  if (isStretched) return true;
  const atEnd = Math.log2((had + rate * left) / wanted);
  return atEnd > CALM * closingErrorStops(light, elapsed);
}
