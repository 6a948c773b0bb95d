import { monotonicMs, type MonotonicMs } from "../units.ts";
import type { WatchState } from "./state.ts";

/** Something that fills up before the night is over. */
export type Shortage = {
  readonly what: "card" | "disk";
  readonly fullMs: MonotonicMs;
  /** How much more room the rest of the night takes. */
  readonly moreBytes: number;
};

/**
 * Frames of dusk are short and follow fast, and would let any card look too small: the pace of the
 * night is taken to be this share of the longest exposure at least. Judgement.
 */
const LONGEST_SHARE_MIN = 0.5;

/**
 * What fills up before the watch ends, at the present pace.
 *
 * @param room  `fileBytes`: the newest file on this computer's disk; what is null is not judged.
 * Accuracy: of the present pace; a change of exposure moves it.
 */
export function shortages(
  state: WatchState,
  room: {
    readonly nowMs: MonotonicMs;
    readonly endMs: MonotonicMs;
    readonly freeDiskBytes: number | null;
    readonly fileBytes: number | null;
  },
): readonly Shortage[] {
  const { cadenceMs, freeFrames, freeBytes, settings } = state;
  if (cadenceMs === null) return [];
  const longestMs = settings.exposure.exposureSecondsMax * 1000;
  const paceMs = Math.max(cadenceMs, LONGEST_SHARE_MIN * longestMs);
  const { freeDiskBytes, fileBytes, nowMs, endMs } = room;
  const wantedFrames = (endMs - nowMs) / paceMs;
  const shortage = (what: "card" | "disk", frames: number, frameBytes: number): Shortage[] => {
    if (frames >= wantedFrames) return [];
    const moreBytes = (wantedFrames - frames) * frameBytes;
    return [{ what, fullMs: monotonicMs(nowMs + frames * paceMs), moreBytes }];
  };
  const card =
    freeFrames === null || freeFrames <= 0 || freeBytes === null
      ? []
      : shortage("card", freeFrames, freeBytes / freeFrames);
  const disk =
    freeDiskBytes === null || fileBytes === null || fileBytes <= 0
      ? []
      : shortage("disk", freeDiskBytes / fileBytes, fileBytes);
  return [...card, ...disk];
}
