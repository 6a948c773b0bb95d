import {
  isUsable,
  levelOf,
  middleSecondsOf,
  type FrameObservation,
} from "../exposure/observation.ts";
import {
  calmAfter,
  calmAfterSurge,
  calmCeiling,
  clearSkyLevel,
  startCalm,
  type Calm,
  type LevelNote,
} from "./calm.ts";

/** A surge under way. */
type OpenSurge = {
  /** Level that the sky had risen from. */
  readonly quietLevel: number;
  readonly riseStopsMax: number;
  /** Curtains have been seen in it; without any it was clouds giving the sky free. */
  readonly hadCurtains: boolean;
  /** Since when the rise has been small again; null: it is not. */
  readonly lowSinceSeconds: number | null;
  /** The level followed slowly, and when it was last well exceeded. */
  readonly slowLevel: number;
  readonly activeSeconds: number;
  readonly seenSeconds: number;
};

/** What the watch for surges remembers; plain data. */
export type SurgeState = {
  /** How bright the quiet sky of the last twenty minutes was. */
  readonly calm: Calm;
  /** The newest frames, oldest first, that do not count as quiet yet. */
  readonly newest: readonly LevelNote[];
  readonly surge: OpenSurge | null;
};

/** What the newest frame did to the watch for surges. */
type SurgeStep = {
  readonly state: SurgeState;
  readonly change: "onset" | "end" | null;
  /** Rise over the quiet before, stops; 0 without a surge. */
  readonly riseStops: number;
};

/** A frame counts as quiet once it is this old, longer than a lamp is watched, and three are newer. */
const QUIET_AFTER_SECONDS = 75;

/**
 * Rises over the brightest quiet that make a surge, stops: with moving structure in the sky, with
 * its motion unknown, and without any structure (where clouds lit from below are likelier).
 * Breakups rise by 3 stops and more within a minute (Akasofu 1964; Kalmoni et al. 2015); lit
 * clouds by less than one. The split between them is this program's choice.
 */
const RISE_STOPS = { moving: 0.7, unknown: 0.9, still: 1.7 };
/** Curtains of a quiet arc drift by less; Safargaleev et al. 2003: 0.1 km/s, 0.05°/s at the zenith. */
const MOVING_DEG_PER_SECOND = 0.06;
const STRUCTURED_PEAK_RATIO = 3;
/** The frame before must have shown this share of the rise: a flash does not. */
const SHARE_BEFORE = 0.3;
/**
 * Faster than any onset (0.07 stop/s, Kalmoni et al. 2015): a lamp until it has lasted; twice that
 * where structure is seen to move.
 */
const LAMP_STOPS_PER_SECOND = { still: 0.12, moving: 0.24 };
const LAMP_LASTS_SECONDS = 45;
/** No aurora is as even as this for so long, stops: a lamp that stays on, a gap that stays open. */
const EVEN_STOPS = 0.12;
/** An onset that grows steadily has doubled at least by its second frame; some noise allowed. */
const GROWTH_MIN = 1.5;
/** Over the quiet by more than this, a frame belongs to what is rising. */
const HIGH_STOPS = 0.3;

/** A surge ends when less than this share of its rise is left, for so long. */
const LEFT_SHARE = 0.35;
const LEFT_STOPS = 0.3;
const LOW_SECONDS = 90;
/** Without a new brightening for so long, what is left is the new quiet: a slow recovery. */
const SPENT_SECONDS = 720;
const BRIGHTENING_STOPS = 0.4;
const SLOW_SECONDS = 300;

/** A break of more than this in the frames: the quiet before it says nothing any more. */
const BREAK_SECONDS = 600;

/** The surge watch at the start of a night: no surge, and nothing known of the calm. */
export function startSurgeWatch(): SurgeState {
  return { calm: startCalm(), newest: [], surge: null };
}

/**
 * Tells from the frames' levels, peaks and motion whether the aurora surges.
 *
 * An onset is a rise over the brightest quiet of the last twenty minutes (so that a cloud that
 * moves away is none) and, unless curtains are seen, over the clear sky that gaps in the clouds
 * have shown in the last three hours, beyond what the sky's slow trend explains (Moon, dawn), seen by two frames
 * in a row (lightning, aircraft), and not faster than auroras rise unless it lasts (headlights).
 * It ends when most of the rise has been gone for a minute and a half, or when nothing has
 * brightened for twelve minutes; the next one is then measured from there.
 */
export function observeActivity(state: SurgeState, observation: FrameObservation): SurgeStep {
  if (!isUsable(observation)) return { state, change: null, riseStops: 0 };
  const note: LevelNote = { atSeconds: middleSecondsOf(observation), level: levelOf(observation) };
  const last = state.newest.at(-1);
  if (last !== undefined && note.atSeconds <= last.atSeconds) {
    return { state, change: null, riseStops: 0 };
  }
  const isAfterBreak = last !== undefined && note.atSeconds - last.atSeconds > BREAK_SECONDS;
  if (state.surge === null && isAfterBreak) {
    // Whatever the sky has become meanwhile is the quiet that the next rise is measured from.
    return { state: { ...startSurgeWatch(), newest: [note] }, change: null, riseStops: 0 };
  }
  return state.surge === null
    ? watchForOnset(state, observation, note)
    : watchForEnd(state, state.surge, observation, note);
}

function watchForOnset(
  state: SurgeState,
  observation: FrameObservation,
  note: LevelNote,
): SurgeStep {
  const { calm, newest } = settle(state.calm, [...state.newest, note]);
  const next: SurgeState = { calm, newest, surge: null };
  const ceiling = calmCeiling(calm, note.atSeconds);
  if (ceiling === null) return { state: next, change: null, riseStops: 0 };
  const quietLevel = isCurtain(observation) ? ceiling : Math.max(ceiling, clearSkyLevel(calm));
  const riseStops = note.level - quietLevel;
  const before = newest.at(-2);
  const isOnset =
    riseStops >= riseNeeded(observation) &&
    before !== undefined &&
    before.level - quietLevel >= SHARE_BEFORE * riseNeeded(observation) &&
    note.level >= before.level - 0.5 * riseStops &&
    !isLamp(newest, quietLevel, isMoving(observation));
  if (!isOnset) return { state: next, change: null, riseStops: 0 };
  const surge: OpenSurge = {
    quietLevel,
    riseStopsMax: riseStops,
    hadCurtains: isCurtain(observation),
    lowSinceSeconds: null,
    slowLevel: note.level,
    activeSeconds: note.atSeconds,
    seenSeconds: note.atSeconds,
  };
  return { state: { ...next, surge }, change: "onset", riseStops };
}

function isMoving({ motion }: FrameObservation): boolean {
  return motion.kind === "measured" && motion.degPerSecond >= MOVING_DEG_PER_SECOND;
}

/** What no cloud, no lamp and no quiet arc shows: bright structure that is seen to move. */
function isCurtain(observation: FrameObservation): boolean {
  return isMoving(observation) && observation.peakRatio >= STRUCTURED_PEAK_RATIO;
}

function riseNeeded(observation: FrameObservation): number {
  const { motion, peakRatio } = observation;
  if (isMoving(observation)) return RISE_STOPS.moving;
  if (motion.kind === "unknown" || peakRatio >= STRUCTURED_PEAK_RATIO) return RISE_STOPS.unknown;
  return RISE_STOPS.still;
}

/**
 * True while a rise looks like a lamp's: it came faster than any onset, or it was over after one
 * frame (onsets grow from frame to frame) with nothing seen to move. One that has lasted is a lamp's
 * only as long as it stays even.
 */
function isLamp(newest: readonly LevelNote[], quietLevel: number, isMoving: boolean): boolean {
  // Flashes that come one after another are not one light that lasts.
  const firstHigh = newest.findLastIndex(({ level }) => level - quietLevel <= HIGH_STOPS) + 1;
  const high = newest[firstHigh];
  const low = newest[firstHigh - 1];
  if (high === undefined) return false;
  const rises = newest.slice(firstHigh).map(({ level }) => level - quietLevel);
  if (low === undefined || newest.at(-1)!.atSeconds - high.atSeconds >= LAMP_LASTS_SECONDS) {
    return !isMoving && isEven(rises.slice(1));
  }
  const isOver = Math.max(...rises) < GROWTH_MIN * rises[0]!;
  if (isOver && !isMoving) return true;
  const second = newest[firstHigh + 1] ?? high;
  const fastest = LAMP_STOPS_PER_SECOND[isMoving ? "moving" : "still"];
  return Math.max(stopsPerSecond(low, high), stopsPerSecond(high, second)) > fastest;
}

function isEven(rises: readonly number[]): boolean {
  return Math.max(...rises) - Math.min(...rises) < EVEN_STOPS;
}

function stopsPerSecond(from: LevelNote, to: LevelNote): number {
  return to === from ? 0 : (to.level - from.level) / (to.atSeconds - from.atSeconds);
}

function watchForEnd(
  state: SurgeState,
  surge: OpenSurge,
  observation: FrameObservation,
  note: LevelNote,
): SurgeStep {
  const riseStops = note.level - surge.quietLevel;
  const riseStopsMax = Math.max(surge.riseStopsMax, riseStops);
  const isLow = riseStops < Math.max(LEFT_STOPS, LEFT_SHARE * riseStopsMax);
  const lowSinceSeconds = isLow ? (surge.lowSinceSeconds ?? note.atSeconds) : null;
  const hasBeenLow = lowSinceSeconds !== null && note.atSeconds - lowSinceSeconds >= LOW_SECONDS;
  const pull = 1 - Math.exp(-(note.atSeconds - surge.seenSeconds) / SLOW_SECONDS);
  const slowLevel = surge.slowLevel + pull * (note.level - surge.slowLevel);
  const brightens = note.level - slowLevel >= BRIGHTENING_STOPS || riseStops >= riseStopsMax;
  const activeSeconds = brightens ? note.atSeconds : surge.activeSeconds;
  const isSpent = note.atSeconds - activeSeconds > SPENT_SECONDS;
  if (hasBeenLow || isSpent) {
    const clearLevel = surge.hadCurtains ? null : surge.quietLevel + riseStopsMax;
    const calm = calmAfterSurge(state.calm, note, clearLevel);
    return { state: { calm, newest: [note], surge: null }, change: "end", riseStops };
  }
  const open: OpenSurge = {
    ...surge,
    riseStopsMax,
    hadCurtains: surge.hadCurtains || (isCurtain(observation) && !isLow),
    lowSinceSeconds,
    slowLevel,
    activeSeconds,
    seenSeconds: note.atSeconds,
  };
  return { state: { ...state, newest: [note], surge: open }, change: null, riseStops };
}

/** Frames that are old enough go over into the quiet. */
function settle(calm: Calm, notes: readonly LevelNote[]): Pick<SurgeState, "calm" | "newest"> {
  const nowSeconds = notes.at(-1)!.atSeconds;
  let count = 0;
  let known = calm;
  while (count < notes.length - 3 && notes[count]!.atSeconds < nowSeconds - QUIET_AFTER_SECONDS) {
    known = calmAfter(known, notes[count]!);
    count += 1;
  }
  return { calm: known, newest: count === 0 ? notes : notes.slice(count) };
}
