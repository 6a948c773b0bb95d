import { monotonicMs, type MonotonicMs } from "../units.ts";
import type { WatchState } from "./state.ts";

/** Nothing is late before this share of the silence that loses a camera has passed. Judgement. */
const SILENCE_SHARE = 0.5;

/** All is well only while a frame has come within so many frame periods: the state sentence's rule. */
const PERIODS_MAX = 2;

/**
 * Since when the next frame is overdue, though the camera is connected and frames are wanted; null:
 * it is not. A busy camera or a shutter that does not answer is late long before it counts as lost.
 */
export function lateSinceMs(state: WatchState, nowMs: MonotonicMs): MonotonicMs | null {
  const dueMs = phaseDueMs(state);
  if (dueMs === null) return null;
  const silentMs = dueMs + SILENCE_SHARE * state.known.settings.silenceSecondsMax * 1000;
  if (nowMs > silentMs) return monotonicMs(dueMs);
  const { sinceMs, periodMs } = newestFrame(state, dueMs);
  if (sinceMs === null || periodMs === null) return null;
  return nowMs > sinceMs + PERIODS_MAX * periodMs ? monotonicMs(sinceMs + periodMs) : null;
}

/**
 * Since when there was no new frame, and how long one takes from opening to opening at the present
 * exposure and pace; null: not known yet.
 */
function newestFrame(
  state: WatchState,
  dueMs: number,
): { readonly sinceMs: number | null; readonly periodMs: number | null } {
  const { frames, gaps } = state.known;
  const { lastClosedMs, cadenceMs } = frames;
  const gap = gaps.at(-1);
  // A stretch without frames has been reported already: the wait begins again when it is over.
  const beganMs = gap === undefined ? null : (gap.endMs ?? dueMs);
  return {
    sinceMs: lastClosedMs === null ? null : Math.max(lastClosedMs, beganMs ?? lastClosedMs),
    periodMs: cadenceMs === null ? null : Math.max(cadenceMs, inHandMs(state)),
  };
}

/** What the frame in hand takes by its order, or by its pace. */
function inHandMs({ phase, known }: WatchState): number {
  switch (phase.kind) {
    case "ordered":
    case "exposing":
      return phase.exposure.exposureSeconds * 1000;
    case "between":
      return known.frames.lastOpenedMs === null ? 0 : phase.notBeforeMs - known.frames.lastOpenedMs;
    case "closing":
    case "readingOut":
    case "idle":
    case "connecting":
    case "waiting":
    case "paused":
    case "recovering":
    case "ending":
    case "finished":
      return 0;
  }
}

/** When the phase should have been over, had all gone as it does; null: it has no such moment. */
function phaseDueMs({ phase, known }: WatchState): number | null {
  const silenceMs = known.settings.silenceSecondsMax * 1000;
  switch (phase.kind) {
    case "between":
      return phase.notBeforeMs;
    case "ordered":
      return phase.deadlineMs - silenceMs - phase.exposure.exposureSeconds * 1000;
    case "exposing":
    case "closing":
    case "readingOut":
      return phase.deadlineMs - silenceMs;
    case "idle":
    case "connecting":
    case "waiting":
    case "paused":
    case "recovering":
    case "ending":
    case "finished":
      return null;
  }
}
