import type { MonotonicMs } from "../units.ts";
import type { WatchState } from "./state.ts";

/** A stretch without frames begins, unless one is open already or there was no frame yet. */
export function openGap(state: WatchState, atMs: MonotonicMs, why: string): WatchState {
  if (state.lastClosedMs === null && state.lastOpenedMs === null) return state;
  if (state.gaps.at(-1)?.endMs === null) return state;
  const startMs = state.lastClosedMs ?? atMs;
  return { ...state, gaps: [...state.gaps, { startMs, endMs: null, why }] };
}

/** A shutter opens: the stretch without frames is over, if there was one. */
export function closeGap(state: WatchState, atMs: MonotonicMs): WatchState {
  const gap = state.gaps.at(-1);
  if (gap?.endMs !== null) return state;
  return { ...state, gaps: [...state.gaps.slice(0, -1), { ...gap, endMs: atMs }] };
}
