import { monotonicMs, type MonotonicMs } from "../units.ts";
import type { WatchState } from "./state.ts";

/** Nothing is late before this share of the silence that loses a camera has passed. Judgement. */
const SILENCE_SHARE = 0.5;

/**
 * Since when the next frame is overdue, though the camera is connected and frames are wanted; null:
 * it is not. A busy camera or a shutter that does not answer is late long before it counts as lost.
 */
export function lateSinceMs(state: WatchState, nowMs: MonotonicMs): MonotonicMs | null {
  const dueMs = phaseDueMs(state);
  if (dueMs === null) return null;
  const lateMs = dueMs + SILENCE_SHARE * state.settings.silenceSecondsMax * 1000;
  return nowMs > lateMs ? monotonicMs(dueMs) : null;
}

/** When the phase should have been over, had all gone as it does; null: it has no such moment. */
function phaseDueMs({ phase, settings }: WatchState): number | null {
  const silenceMs = settings.silenceSecondsMax * 1000;
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
