import type { MonotonicMs } from "../units.ts";
import type { WatchKnowledge } from "./state.ts";

/** A stretch without frames begins, unless one is open already or there was no frame yet. */
export function openGap(known: WatchKnowledge, atMs: MonotonicMs, why: string): WatchKnowledge {
  const { lastClosedMs, lastOpenedMs } = known.frames;
  if (lastClosedMs === null && lastOpenedMs === null) return known;
  if (known.gaps.at(-1)?.endMs === null) return known;
  const startMs = lastClosedMs ?? atMs;
  return { ...known, gaps: [...known.gaps, { startMs, endMs: null, why }] };
}

/** A shutter opens: the stretch without frames is over, if there was one. */
export function closeGap(known: WatchKnowledge, atMs: MonotonicMs): WatchKnowledge {
  const gap = known.gaps.at(-1);
  if (gap?.endMs !== null) return known;
  return { ...known, gaps: [...known.gaps.slice(0, -1), { ...gap, endMs: atMs }] };
}
