import { monotonicMs, type MonotonicMs } from "../units.ts";
import type { WatchKnowledge, WatchState } from "./state.ts";

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
export function silentMs(known: WatchKnowledge, atMs: MonotonicMs): MonotonicMs {
  return later(atMs, known.settings.silenceSecondsMax * 1000);
}

/** When a frame opened now must have closed by itself. */
export function overdueMs(
  known: WatchKnowledge,
  atMs: MonotonicMs,
  exposureSeconds: number,
): MonotonicMs {
  return later(silentMs(known, atMs), exposureSeconds * 1000);
}

/** Until when the end waits for the last frames. */
export function lastFramesMs(known: WatchKnowledge, atMs: MonotonicMs): MonotonicMs {
  return later(atMs, LAST_FRAMES_SILENCES * known.settings.silenceSecondsMax * 1000);
}

/** From one opening to the next at the present pace, seconds; 0: back to back. */
export function intervalSeconds(known: WatchKnowledge): number {
  const { exposure, sentinelIntervalSeconds } = known.settings;
  return known.sky.pace === "sentinel" && sentinelIntervalSeconds !== null
    ? Math.max(sentinelIntervalSeconds, exposure.intervalSeconds)
    : exposure.intervalSeconds;
}

/** When the next frame is due at the present pace, now at the earliest. */
export function dueMs(known: WatchKnowledge, atMs: MonotonicMs): MonotonicMs {
  if (known.frames.lastOpenedMs === null) return atMs;
  return monotonicMs(Math.max(atMs, known.frames.lastOpenedMs + intervalSeconds(known) * 1000));
}

/** When the next frame would be due at full pace. */
export function fullPaceMs(known: WatchKnowledge): number {
  return (known.frames.lastOpenedMs ?? 0) + known.settings.exposure.intervalSeconds * 1000;
}

/** The moment for which a watch has asked to be woken; null: it waits for events alone. */
export function wakeMs({ phase, known }: WatchState): MonotonicMs | null {
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
      const { hand, settings } = known;
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
