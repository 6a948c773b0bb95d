import type { WatchPhase, WatchView } from "../../core/api/messages.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { batteryEndMs } from "../../core/watch/batteryDrain.ts";
import type { After, EndedBy, WatchPhaseState, WatchState } from "../../core/watch/state.ts";
import type { MonotonicMs, UtcMs } from "../../core/units.ts";

/** What the view needs beside the watch's own state. */
export type ViewContext = {
  readonly cameraId: string;
  readonly cameraLabel: string;
  readonly newest: FrameRecord | null;
  readonly frameCount: number;
  readonly utcOf: (atMs: MonotonicMs) => UtcMs;
};

/** The watch as the page shows it. */
export function viewOf(state: WatchState, context: ViewContext): WatchView {
  const { utcOf } = context;
  const { phase } = state;
  const worst = worstGuard(state);
  const ends = endOf(state);
  const batteryEnd = batteryEndMs(state.batteryFalls, state.settings.batteryStopPercent);
  const utcOrNull = (atMs: MonotonicMs | null) => (atMs === null ? null : utcOf(atMs));
  return {
    cameraId: context.cameraId,
    cameraLabel: context.cameraLabel,
    phase: phaseOf(phase),
    sentence: worst?.sentence ?? sentenceOf(state),
    allIsWell: worst === null,
    pace: state.pace,
    isExposing: phase.kind === "exposing" || phase.kind === "closing",
    frameCount: context.frameCount,
    newest: context.newest,
    batteryPercent: state.batteryPercent,
    batteryEndsUtcMs: utcOrNull(batteryEnd),
    cardFreeBytes: state.freeBytes,
    cardFreeFrames: state.freeFrames,
    startsUtcMs: utcOrNull(phase.kind === "waiting" ? phase.startMs : null),
    endsUtcMs: utcOrNull(ends.atMs),
    endsBy: ends.by,
    settings: state.settings.exposure,
    guards: state.guards.map(({ sinceMs, ...guard }) => ({
      ...guard,
      sinceUtcMs: utcOf(sinceMs),
    })),
    surges: state.surges.map((surge) => ({
      startUtcMs: utcOf(surge.startMs),
      endUtcMs: utcOrNull(surge.endMs),
      riseStops: surge.riseStops,
    })),
    gaps: state.gaps.map((gap) => ({
      startUtcMs: utcOf(gap.startMs),
      endUtcMs: utcOrNull(gap.endMs),
      why: gap.why,
    })),
  };
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
      return "finished";
    default:
      return phase.kind;
  }
}

function worstGuard(state: WatchState): WatchState["guards"][number] | null {
  return (
    state.guards.find((guard) => guard.level === "stop") ??
    state.guards.find((guard) => guard.level === "warning") ??
    null
  );
}

function sentenceOf(state: WatchState): string {
  const { phase } = state;
  switch (phase.kind) {
    case "idle":
      return "No watch is running.";
    case "connecting":
      return "Connecting to the camera.";
    case "waiting":
      return "Waiting for dark.";
    case "paused":
      return "Paused by hand; the shutter is closed.";
    case "recovering":
      return phase.sentence;
    case "ending":
      return `${ENDED[phase.by]} The last frames are being fetched.`;
    case "finished":
      return ENDED[phase.by];
    case "between":
      return calmSentence(state);
    default:
      return phase.after === "next" ? calmSentence(state) : lastFrameSentence(phase.after);
  }
}

/** An order that waits for the frame in hand is answered at once, in words. */
function lastFrameSentence(after: Exclude<After, "next">): string {
  return after === "paused"
    ? "Pausing: the open frame is finished and kept first."
    : "Ending: the open frame is closed and kept first.";
}

function calmSentence(state: WatchState): string {
  const surge = state.surges.at(-1);
  if (surge?.endMs === null) {
    return `All is well. A surge is on: the sky rose ${surge.riseStops.toFixed(1)} stops.`;
  }
  return state.pace === "sentinel"
    ? "All is well. The sky is quiet: sentinel pace."
    : "All is well.";
}

const ENDED: Readonly<Record<EndedBy, string>> = {
  time: "The watch has ended at the time you set.",
  frames: "The watch has ended after the frames you asked for.",
  dawn: "The watch has ended with the dawn. Cap the lens before the Sun is up.",
  battery: "The watch has ended in order before the camera battery ran out.",
  card: "The watch has ended because the card is full.",
  hand: "The watch was stopped by hand.",
};

function endOf(state: WatchState): { atMs: MonotonicMs | null; by: WatchView["endsBy"] } {
  const { phase } = state;
  if (phase.kind === "ending" || phase.kind === "finished") return { atMs: null, by: phase.by };
  const { untilMs, dawnMs, frameCountMax } = state.settings;
  if (untilMs !== null && (dawnMs === null || untilMs <= dawnMs)) {
    return { atMs: untilMs, by: "time" };
  }
  if (dawnMs !== null) return { atMs: dawnMs, by: "dawn" };
  return { atMs: null, by: frameCountMax === null ? "hand" : "frames" };
}
