import type { StateNotice, WatchPhase, WatchView } from "../../core/api/messages.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { batteryEndMs } from "../../core/watch/batteryDrain.ts";
import { cardFullMs, nextFrameMs } from "../../core/watch/shortages.ts";
import type { WatchPhaseState, WatchState } from "../../core/watch/state.ts";
import {
  watchRows,
  type NightFacts,
  type StateRow,
  type WatchFacts,
} from "../../core/watch/stateSentence.ts";
import type { StateKind } from "../../core/words/stateWords.ts";
import type { MonotonicMs, UtcMs } from "../../core/units.ts";

/** What the view needs beside the watch's own state. */
export type ViewContext = {
  readonly cameraId: string;
  readonly cameraLabel: string;
  readonly newest: FrameRecord | null;
  readonly frameCount: number;
  readonly nowMs: MonotonicMs;
  /** Room on this computer; null: not known. */
  readonly freeDiskBytes: number | null;
  readonly utcOf: (atMs: MonotonicMs) => UtcMs;
  /** A moment on the clock that the reader looks at. */
  readonly clockText: (at: UtcMs) => string;
};

/** The watch as the page shows it. */
export function viewOf(state: WatchState, context: ViewContext): WatchView {
  const { utcOf } = context;
  const { phase, known } = state;
  const ends = endOf(state);
  const batteryEnd = batteryEndMs(known.camera.batteryFalls, known.settings.batteryStopPercent);
  const utcOrNull = (atMs: MonotonicMs | null) => (atMs === null ? null : utcOf(atMs));
  const states = watchRows(factsOf(state, context), stateContext(context)).map((row) =>
    noticeOf(row, utcOf),
  );
  return {
    cameraId: context.cameraId,
    cameraLabel: context.cameraLabel,
    phase: phaseOf(phase),
    states,
    sentence: states[0]!.sentence,
    allIsWell: CALM.has(states[0]!.kind),
    pausedUntilUtcMs: utcOrNull(known.hand.kind === "pause" ? known.hand.untilMs : null),
    pace: known.sky.pace,
    isExposing: phase.kind === "exposing" || phase.kind === "closing",
    frameCount: context.frameCount,
    newest: context.newest,
    batteryPercent: known.camera.batteryPercent,
    batteryEndsUtcMs: utcOrNull(batteryEnd),
    cardFreeBytes: known.camera.freeBytes,
    cardFreeFrames: known.camera.freeFrames,
    cardEndsUtcMs: utcOrNull(cardFullMs(known, context.nowMs)),
    nextFrameUtcMs: utcOrNull(nextFrameMs(state)),
    startsUtcMs: utcOrNull(phase.kind === "waiting" ? phase.startMs : null),
    endsUtcMs: utcOrNull(ends.atMs),
    endsBy: ends.by,
    settings: known.settings.exposure,
    guards: known.guards.map(({ sinceMs, ...guard }) => ({
      ...guard,
      sinceUtcMs: utcOf(sinceMs),
    })),
    surges: known.sky.surges.map((surge) => ({
      startUtcMs: utcOf(surge.startMs),
      endUtcMs: utcOrNull(surge.endMs),
      riseStops: surge.riseStops,
    })),
    gaps: known.gaps.map((gap) => ({
      startUtcMs: utcOf(gap.startMs),
      endUtcMs: utcOrNull(gap.endMs),
      why: gap.why,
    })),
  };
}

/** Rows that ask nothing of anybody. */
const CALM: ReadonlySet<StateKind> = new Set<StateKind>(["waiting", "skyActs", "well"]);

/** What the state sentence needs to know of this watch. */
export function factsOf(
  state: WatchState,
  { cameraLabel, newest }: Pick<ViewContext, "cameraLabel" | "newest">,
): WatchFacts {
  const isLastFrameWhole =
    newest !== null && newest.frameIndex === state.known.frames.nextFrameIndex - 1;
  return { cameraLabel, state, isLastFrameWhole, fileBytes: newest?.file?.bytes ?? null };
}

/** What the state sentence needs to know of the moment. */
export function stateContext({
  nowMs,
  freeDiskBytes,
  utcOf,
  clockText,
}: Pick<ViewContext, "nowMs" | "freeDiskBytes" | "utcOf" | "clockText">): Omit<
  NightFacts,
  "watches"
> {
  return { nowMs, freeDiskBytes, clockText: (atMs) => clockText(utcOf(atMs)) };
}

/** A row of the state sentence on the wall clock. */
export function noticeOf(
  { sinceMs, ...row }: StateRow,
  utcOf: (atMs: MonotonicMs) => UtcMs,
): StateNotice {
  return { ...row, sinceUtcMs: sinceMs === null ? null : utcOf(sinceMs) };
}

function phaseOf(phase: WatchPhaseState): WatchPhase {
  switch (phase.kind) {
    case "between":
    case "ordered":
    case "exposing":
    case "closing":
    case "readingOut":
      return "watching";
    case "ending":
    case "finished":
      return "finished";
    case "idle":
    case "connecting":
    case "waiting":
    case "paused":
    case "recovering":
      return phase.kind;
  }
}

function endOf(state: WatchState): { atMs: MonotonicMs | null; by: WatchView["endsBy"] } {
  const { phase } = state;
  if (phase.kind === "ending" || phase.kind === "finished") return { atMs: null, by: phase.by };
  const { untilMs, dawnMs, frameCountMax } = state.known.settings;
  if (untilMs !== null && (dawnMs === null || untilMs <= dawnMs)) {
    return { atMs: untilMs, by: "time" };
  }
  if (dawnMs !== null) return { atMs: dawnMs, by: "dawn" };
  return { atMs: null, by: frameCountMax === null ? "hand" : "frames" };
}
