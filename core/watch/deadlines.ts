import { monotonicMs, type MonotonicMs } from "../units.ts";
import type { WatchState } from "./state.ts";

/**
 * At the end, frames still on their way have so many of the silences that lose a camera: a hundred
 * real seconds, longer than any camera takes before it brings a frame or gives it up.
 */
const LAST_FRAMES_SILENCES = 5;

/** A moment so many milliseconds after another. */
export function later(atMs: MonotonicMs, ms: number): MonotonicMs {
  return monotonicMs(atMs + ms);
}

/** When a camera that says nothing from now on is taken for silent. */
export function silentMs(state: WatchState, atMs: MonotonicMs): MonotonicMs {
  return later(atMs, state.settings.silenceSecondsMax * 1000);
}

/** When a frame opened now must have closed by itself. */
export function overdueMs(
  state: WatchState,
  atMs: MonotonicMs,
  exposureSeconds: number,
): MonotonicMs {
  return later(silentMs(state, atMs), exposureSeconds * 1000);
}

/** Until when the end waits for the last frames. */
export function lastFramesMs(state: WatchState, atMs: MonotonicMs): MonotonicMs {
  return later(atMs, LAST_FRAMES_SILENCES * state.settings.silenceSecondsMax * 1000);
}

/** From one opening to the next at the present pace, seconds; 0: back to back. */
export function intervalSeconds(state: WatchState): number {
  const { exposure, sentinelIntervalSeconds } = state.settings;
  return state.pace === "sentinel" && sentinelIntervalSeconds !== null
    ? Math.max(sentinelIntervalSeconds, exposure.intervalSeconds)
    : exposure.intervalSeconds;
}

/** When the next frame is due at the present pace, now at the earliest. */
export function dueMs(state: WatchState, atMs: MonotonicMs): MonotonicMs {
  if (state.lastOpenedMs === null) return atMs;
  return monotonicMs(Math.max(atMs, state.lastOpenedMs + intervalSeconds(state) * 1000));
}

/** When the next frame would be due at full pace. */
export function fullPaceMs(state: WatchState): number {
  return (state.lastOpenedMs ?? 0) + state.settings.exposure.intervalSeconds * 1000;
}

/** The moment for which a watch has asked to be woken; null: it waits for events alone. */
export function wakeMs({ phase, hand, settings }: WatchState): MonotonicMs | null {
  switch (phase.kind) {
    case "connecting":
    case "ordered":
    case "exposing":
    case "closing":
    case "readingOut":
      return phase.deadlineMs;
    case "waiting":
      return phase.startMs;
    case "between":
      return phase.notBeforeMs;
    case "recovering":
      return phase.retryMs;
    case "ending":
      return phase.closeMs;
    case "paused": {
      const pauseEndMs = hand.kind === "pause" ? hand.untilMs : null;
      return earliestMs([pauseEndMs, settings.untilMs, settings.dawnMs]);
    }
    case "idle":
    case "finished":
      return null;
  }
}

function earliestMs(moments: readonly (MonotonicMs | null)[]): MonotonicMs | null {
  const known = moments.filter((moment) => moment !== null);
  return known.length === 0 ? null : monotonicMs(Math.min(...known));
}
