import { middleOf } from "../statistics.ts";
import { monotonicMs, type MonotonicMs } from "../units.ts";
import type { TakenFrame, WatchKnowledge } from "./state.ts";

/** A wait costs no more than this share of the time that the frame before took. Judgement. */
const SHARE_OF_FRAME_MAX = 0.1;
/** Readings by which the next one's time of arrival is judged. */
const DELAYS_KEPT = 5;

/** The delays of the latest readings after another one has come, newest last. */
export function withReadingDelay(
  delaysMs: readonly number[],
  frame: TakenFrame,
  atMs: MonotonicMs,
): readonly number[] {
  const delayMs = atMs - frame.openedMs - frame.happened.exposureSeconds * 1000;
  return [...delaysMs, delayMs].slice(-DELAYS_KEPT);
}

/**
 * Until when a camera that is ready waits for the newest frame's reading. A frame exposed without
 * it follows an older sky, so a moment's wait is worth it; but not when the reading will not come
 * in that moment anyway, and never so long that it would be felt in the night's rhythm.
 *
 * @returns `atMs` when there is nothing to wait for.
 */
export function readingDueMs(known: WatchKnowledge, atMs: MonotonicMs): MonotonicMs {
  const { settings } = known;
  const { taken, lastOpenedMs, lastClosedMs, readingDelaysMs } = known.frames;
  if (taken.length === 0 || lastOpenedMs === null || lastClosedMs === null) return atMs;
  const graceMs = Math.min(
    settings.readingGraceSeconds * 1000,
    SHARE_OF_FRAME_MAX * (atMs - lastOpenedMs),
  );
  const isInTime = lastClosedMs + (middleOf(readingDelaysMs) ?? 0) <= atMs + graceMs;
  return isInTime ? monotonicMs(atMs + graceMs) : atMs;
}
