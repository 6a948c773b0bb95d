import type { MonotonicMs } from "../units.ts";
import { STATE_LOOKS, stateWords, type AlarmRule, type StateKind } from "../words/stateWords.ts";
import { batteryEndMs } from "./batteryDrain.ts";
import type { GuardState, WatchKnowledge, WatchState } from "./state.ts";
import { handWordAt } from "./handWord.ts";
import { lateSinceMs } from "./lateness.ts";
import { RUN_COUNT_MIN } from "./pictureTrack.ts";
import { shortages } from "./shortages.ts";
import { RETRY_EVERY_MS } from "./transitions.ts";

/** One thing that is true of the night, as page and terminal show it. */
export type StateRow = {
  readonly kind: StateKind;
  /** What happened, and what is being done about it. */
  readonly sentence: string;
  /** null: it has no beginning that matters. */
  readonly sinceMs: MonotonicMs | null;
  /** Stands beside the colour. */
  readonly sign: string;
  readonly tabTitle: string;
  readonly alarm: AlarmRule;
};

/** One watch and what is known around it. */
export type WatchFacts = {
  readonly cameraLabel: string;
  readonly state: WatchState;
  /** The newest frame that was taken is whole on disk. */
  readonly isLastFrameWhole: boolean;
  /** Length of the newest file on disk; null: there is none yet. */
  readonly fileBytes: number | null;
};

/** Everything that a night owes, at one moment. */
export type NightFacts = {
  readonly nowMs: MonotonicMs;
  readonly watches: readonly WatchFacts[];
  /** Room on this computer; null: not known. */
  readonly freeDiskBytes: number | null;
  /** A moment of the night on the clock that the reader looks at, as in 23:12. */
  readonly clockText: (atMs: MonotonicMs) => string;
};

/** More frames than this waiting for their pictures: they come too slowly to expose by. Judgement. */
const UNREAD_COUNT_MAX = 5;
/** Clipping is reported once it is this many times what is allowed: the governor is at work below. Judgement. */
const CLIPPED_RATIO_MIN = 2;

/**
 * The state of the night in one sentence: the worst that is true, with since when and what is being
 * done. "All is well" is said only when nothing else is true.
 *
 * Precedence: the order of `STATE_LOOKS`; of two cameras in the same state, the one that is longer in it.
 */
export function nightState(facts: NightFacts): StateRow {
  const { watches } = facts;
  if (watches.length === 0) return row("nothingWatches", stateWords.noWatch, null);
  const isOne = watches.length === 1;
  const worst = watches.map((watch) => {
    const first = watchRows(watch, facts)[0]!;
    const { ofCamera } = stateWords;
    return isOne ? first : { ...first, sentence: ofCamera(watch.cameraLabel, first.sentence) };
  });
  return worst.sort(byPrecedence)[0]!;
}

const PRECEDENCE = Object.keys(STATE_LOOKS);

function byPrecedence(one: StateRow, other: StateRow): number {
  const byKind = PRECEDENCE.indexOf(one.kind) - PRECEDENCE.indexOf(other.kind);
  return byKind || (one.sinceMs ?? Infinity) - (other.sinceMs ?? Infinity) || 0;
}

/** Everything that is true of one watch, the worst first; never empty. */
export function watchRows(
  watch: WatchFacts,
  context: Omit<NightFacts, "watches">,
): readonly StateRow[] {
  const { state } = watch;
  const found = [
    shutterRow(state, context),
    restingRow(state),
    cameraRow(watch, context),
    pausedRow(state, context),
    blindRow(state, context),
    lateRow(state, context),
    ...lastingRows(watch, context),
    ...pictureRows(state, context),
    waitingRow(state, context),
    surgeRow(state, context),
  ].filter((one) => one !== null);
  return found.length > 0 ? found : [wellRow(state)];
}

type Context = Omit<NightFacts, "watches">;

function row(kind: StateKind, sentence: string, sinceMs: MonotonicMs | null): StateRow {
  return { kind, sentence, sinceMs, ...STATE_LOOKS[kind] };
}

function shutterRow(
  {
    known: {
      camera: { looseSinceMs },
    },
  }: WatchState,
  { clockText }: Context,
): StateRow | null {
  if (looseSinceMs === null) return null;
  return row("shutterLoose", stateWords.shutterLoose(clockText(looseSinceMs)), looseSinceMs);
}

/** No watch runs, or the one that did is ending. */
function restingRow({ phase, known: { hand } }: WatchState): StateRow | null {
  const { ended, lastFrames, endingFrame, endingReadout, notBegun } = stateWords;
  switch (phase.kind) {
    case "idle":
      return row("nothingWatches", notBegun, null);
    case "ending":
    case "finished": {
      const sentence = ended[phase.by];
      const isUnwanted = phase.by === "battery" || phase.by === "card";
      return {
        ...row("nothingWatches", phase.kind === "ending" ? lastFrames(sentence) : sentence, null),
        ...(isUnwanted ? { alarm: "atOnce" as const } : {}),
      };
    }
    case "ordered":
    case "exposing":
    case "closing":
      return hand.kind === "stop" ? row("nothingWatches", endingFrame, hand.sinceMs) : null;
    case "readingOut":
      return hand.kind === "stop" ? row("nothingWatches", endingReadout, hand.sinceMs) : null;
    case "connecting":
    case "waiting":
    case "between":
    case "paused":
    case "recovering":
      return null;
  }
}

function cameraRow(
  { state, isLastFrameWhole }: WatchFacts,
  { nowMs, clockText }: Context,
): StateRow | null {
  const { phase, known } = state;
  const isAway = phase.kind === "recovering" || phase.kind === "connecting";
  const guard = known.guards.find((one) => one.guard === "camera" && one.level !== "note");
  if (!isAway || !guard) return null;
  const { sinceMs } = guard;
  if (phase.kind === "recovering" && phase.why === "unusable") {
    return row("cameraGone", guard.sentence, sinceMs);
  }
  const since = clockText(sinceMs);
  const retrySeconds = RETRY_EVERY_MS / 1000;
  const isRefused = phase.kind === "recovering" && phase.why === "refused";
  if (known.frames.lastOpenedMs === null || isRefused) {
    const sentence = stateWords.noFrames(guard.sentence, since, retrySeconds);
    return row("cameraGone", sentence, sinceMs);
  }
  const forMs = nowMs - sinceMs;
  const gone = { since, forMs, retrySeconds, isWhole: isLastFrameWhole };
  return row("cameraGone", stateWords.cameraGone(gone), sinceMs);
}

function pausedRow(state: WatchState, { nowMs, clockText }: Context): StateRow | null {
  const { phase, known } = state;
  const hand = handWordAt(known.hand, nowMs);
  if (hand.kind !== "pause" || phase.kind === "idle" || phase.kind === "finished") return null;
  const { sinceMs, untilMs } = hand;
  const isOpen = phase.kind === "ordered" || phase.kind === "exposing" || phase.kind === "closing";
  if (isOpen) return row("pausedByHand", stateWords.pausing, sinceMs);
  const sentence = stateWords.paused({
    since: clockText(sinceMs),
    missedCount:
      known.frames.cadenceMs === null
        ? null
        : Math.floor((nowMs - sinceMs) / known.frames.cadenceMs),
    until: untilMs === null ? null : clockText(untilMs),
  });
  return row("pausedByHand", sentence, sinceMs);
}

function blindRow(
  {
    known: {
      frames: { pictures, taken },
    },
  }: WatchState,
  { clockText }: Context,
): StateRow | null {
  const { unread } = pictures;
  if (unread !== null && unread.count >= RUN_COUNT_MIN) {
    const sentence = stateWords.blind(clockText(unread.sinceMs), unread.why);
    return row("blind", sentence, unread.sinceMs);
  }
  const [oldest] = taken;
  if (taken.length <= UNREAD_COUNT_MAX || !oldest) return null;
  const sentence = stateWords.blind(clockText(oldest.openedMs), stateWords.unread);
  return row("blind", sentence, oldest.openedMs);
}

function lateRow(state: WatchState, { nowMs }: Context): StateRow | null {
  const sinceMs = lateSinceMs(state, nowMs);
  if (sinceMs === null) return null;
  const { lastOpenedMs, cadenceMs } = state.known.frames;
  const lastMs = lastOpenedMs ?? sinceMs;
  return row("late", stateWords.late(nowMs - lastMs, cadenceMs), sinceMs);
}

/** Card, disk or battery that will not last until the end, or have given up already. */
function lastingRows(watch: WatchFacts, context: Context): readonly StateRow[] {
  const { known } = watch.state;
  const guarded = guardRows(known, "willNotLast");
  if (guarded.length > 0) return guarded;
  const { clockText, nowMs, freeDiskBytes } = context;
  const { untilMs, dawnMs } = known.settings;
  const isDawn = untilMs === null || (dawnMs !== null && dawnMs < untilMs);
  const endMs = isDawn ? dawnMs : untilMs;
  if (endMs === null) return [];
  const end = (isDawn ? stateWords.dawnAt : stateWords.endAt)(clockText(endMs));
  const { fileBytes } = watch;
  const full = shortages(known, { nowMs, endMs, freeDiskBytes, fileBytes }).map(
    ({ what, fullMs, moreBytes }) =>
      row("willNotLast", stateWords.fills({ what, at: clockText(fullMs), end, moreBytes }), null),
  );
  const batteryMs = batteryEndMs(known.camera.batteryFalls, known.settings.batteryStopPercent);
  if (batteryMs === null || batteryMs >= endMs) return full;
  return [row("willNotLast", stateWords.batteryEnds(clockText(batteryMs), end), null), ...full];
}

function pictureRows({ known }: WatchState, { clockText }: Context): readonly StateRow[] {
  const { clipped, tooDark } = known.frames.pictures;
  const rows = [...guardRows(known, "pictureAffected")];
  if (tooDark !== null && tooDark.count >= RUN_COUNT_MIN) {
    const { sinceMs } = tooDark;
    rows.push(row("pictureAffected", stateWords.tooDark(clockText(sinceMs)), sinceMs));
  }
  const shareMax = CLIPPED_RATIO_MIN * known.settings.exposure.clippedShareMax;
  if (clipped !== null && clipped.count >= RUN_COUNT_MIN && clipped.share > shareMax) {
    const sentence = stateWords.clips(clockText(clipped.sinceMs), clipped.share);
    rows.push(row("pictureAffected", sentence, clipped.sinceMs));
  }
  return rows;
}

/** The row that each guard belongs to once it warns; null: it is shown among the guards alone. */
const GUARD_KINDS: Readonly<Record<GuardState["guard"], StateKind | null>> = {
  storage: "willNotLast",
  battery: "willNotLast",
  dew: "pictureAffected",
  focus: "pictureAffected",
  camera: null,
  cold: null,
  dawn: null,
  clock: null,
  timing: null,
  sleep: null,
};

function guardRows({ guards }: WatchKnowledge, kind: StateKind): readonly StateRow[] {
  return guards
    .filter(({ guard, level }) => GUARD_KINDS[guard] === kind && level !== "note")
    .sort((one, other) => Number(other.level === "stop") - Number(one.level === "stop"))
    .map(({ sentence, sinceMs }) => row(kind, sentence, sinceMs));
}

function waitingRow({ phase }: WatchState, { nowMs, clockText }: Context): StateRow | null {
  if (phase.kind === "connecting") return row("waiting", stateWords.connecting, null);
  if (phase.kind !== "waiting") return null;
  const { startMs } = phase;
  return row("waiting", stateWords.waiting(clockText(startMs), startMs - nowMs), null);
}

function surgeRow(
  {
    known: {
      sky: { surges },
    },
  }: WatchState,
  { clockText }: Context,
): StateRow | null {
  const surge = surges.at(-1);
  if (surge?.endMs !== null) return null;
  return row("skyActs", stateWords.surge(clockText(surge.startMs)), surge.startMs);
}

function wellRow({
  known: {
    sky: { pace },
  },
}: WatchState): StateRow {
  return row("well", pace === "sentinel" ? stateWords.quiet : stateWords.well, null);
}
