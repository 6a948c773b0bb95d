import type { TracePoint } from "../state/tracePoint.ts";

/** Index of the first point that was opened at a moment or later; their count: none was. */
export function firstFrom(points: readonly TracePoint[], utcMs: number): number {
  let [low, high] = [0, points.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if ((points[middle]?.openedUtcMs ?? Infinity) < utcMs) low = middle + 1;
    else high = middle;
  }
  return low;
}

/** The point whose opening is nearest to a moment; null: there is none. */
export function nearestTo(points: readonly TracePoint[], utcMs: number): TracePoint | null {
  const at = firstFrom(points, utcMs);
  const [before, after] = [points[at - 1], points[at]];
  if (before === undefined || after === undefined) return before ?? after ?? null;
  return utcMs - before.openedUtcMs < after.openedUtcMs - utcMs ? before : after;
}

/** Where in the list a frame's point stands; -1: nowhere. The list is by rising index. */
export function positionOf(points: readonly TracePoint[], frameIndex: number): number {
  let [low, high] = [0, points.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if ((points[middle]?.frameIndex ?? Infinity) < frameIndex) low = middle + 1;
    else high = middle;
  }
  return points[low]?.frameIndex === frameIndex ? low : -1;
}
