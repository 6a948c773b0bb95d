import type { Reading } from "../photometry/reading.ts";
import type { MonotonicMs } from "../units.ts";

/** Something that is wrong with frame after frame: since when, and in how many of them. */
type Run = { readonly sinceMs: MonotonicMs; readonly count: number };

/** What ails the pictures, frame after frame; null: it does not. */
export type PictureTrack = {
  /** Frames came without a reading: none arrived, or none could be metered. */
  readonly unread: (Run & { readonly why: string }) | null;
  /** More of the sky clips than is allowed. */
  readonly clipped: (Run & { readonly share: number }) | null;
  /** Not even the longest exposure at the highest ISO meets the target. */
  readonly tooDark: Run | null;
};

/** One frame says little; so many in a row are a state of the night. Judgement. */
export const RUN_COUNT_MIN = 3;

export const NO_TROUBLE: PictureTrack = { unread: null, clipped: null, tooDark: null };

function longer(run: Run | null, atMs: MonotonicMs): Run {
  return { sinceMs: run?.sinceMs ?? atMs, count: (run?.count ?? 0) + 1 };
}

/** A frame came to nothing that the meter could read; `why` is the newest reason. */
export function afterNoReading(track: PictureTrack, why: string, atMs: MonotonicMs): PictureTrack {
  return { ...track, unread: { ...longer(track.unread, atMs), why } };
}

/** A frame was read. @param clippedShareMax  Share of the sky that may clip, 0 to 1. */
export function afterReading(
  track: PictureTrack,
  { clippedShare: { red, green, blue } }: Pick<Reading, "clippedShare">,
  { clippedShareMax, atMs }: { readonly clippedShareMax: number; readonly atMs: MonotonicMs },
): PictureTrack {
  const share = Math.max(red, green, blue);
  const clipped = share > clippedShareMax ? { ...longer(track.clipped, atMs), share } : null;
  return { ...track, unread: null, clipped };
}

/** A frame was ordered. @param isTooDark  The limits kept it darker than wanted. */
export function afterOrder(
  track: PictureTrack,
  isTooDark: boolean,
  atMs: MonotonicMs,
): PictureTrack {
  if (isTooDark) return { ...track, tooDark: longer(track.tooDark, atMs) };
  return track.tooDark === null ? track : { ...track, tooDark: null };
}
