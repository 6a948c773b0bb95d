import type { TracePoint } from "../state/tracePoint.ts";

/** A curve of the strip: what it shows of a frame, on a logarithmic scale. */
export type Lane = {
  readonly key: "sky" | "exposure" | "iso";
  readonly valueOf: (point: TracePoint) => number | null;
  /** Round values that may carry a line and a label. */
  readonly rungs: readonly number[];
  readonly rungLabel: (value: number) => string;
  /** The scale spans at least this many powers of ten. */
  readonly decadesMin: number;
};

const DECADES = Array.from({ length: 10 }, (_, at) => 10 ** (at - 5));

export const LANES: readonly Lane[] = [
  {
    key: "sky",
    valueOf: ({ skyLuminanceCdM2 }) => skyLuminanceCdM2,
    rungs: DECADES,
    // Candela are long numbers for a night sky; their thousandths read well.
    rungLabel: (value) =>
      value >= 1 ? `${value} cd` : `${Number((value * 1000).toPrecision(1))} mcd`,
    decadesMin: 1.2,
  },
  {
    key: "exposure",
    valueOf: ({ exposureSeconds }) => exposureSeconds,
    rungs: [0.1, 0.3, 1, 2, 5, 10, 20, 60],
    rungLabel: (value) => `${value} s`,
    decadesMin: 0.8,
  },
  {
    key: "iso",
    valueOf: ({ iso }) => iso,
    rungs: [100, 400, 1600, 6400, 25600, 102400],
    rungLabel: (value) => String(value),
    decadesMin: 0.8,
  },
];

export type LaneScale = {
  readonly yOf: (value: number) => number;
  readonly rungs: readonly { readonly value: number; readonly y: number; readonly label: string }[];
};

/** A lane's scale for these values; null while there is nothing to show. */
export function laneScale(
  lane: Lane,
  points: readonly TracePoint[],
  { topPx, heightPx }: { topPx: number; heightPx: number },
): LaneScale | null {
  let lowest = Infinity;
  let highest = -Infinity;
  for (const point of points) {
    const value = lane.valueOf(point);
    if (value === null || !(value > 0)) continue;
    lowest = Math.min(lowest, value);
    highest = Math.max(highest, value);
  }
  if (highest < lowest) return null;
  const middle = (Math.log10(lowest) + Math.log10(highest)) / 2;
  const half = Math.max(lane.decadesMin, Math.log10(highest / lowest) * 1.1) / 2;
  // Room below for the line's own thickness.
  const [top, bottom] = [topPx, heightPx - 3];
  const yOf = (value: number): number =>
    bottom - ((Math.log10(value) - (middle - half)) / (2 * half)) * (bottom - top);
  const rungs = lane.rungs
    .map((value) => ({ value, y: yOf(value), label: lane.rungLabel(value) }))
    .filter(({ y }) => y >= top - 2 && y <= bottom + 2);
  return { yOf, rungs: thinned(rungs, 15) };
}

function thinned<T extends { readonly y: number }>(rungs: readonly T[], spacingPx: number): T[] {
  const kept: T[] = [];
  for (const rung of rungs) {
    const before = kept.at(-1);
    if (!before || Math.abs(before.y - rung.y) >= spacingPx) kept.push(rung);
  }
  return kept;
}

/**
 * Index of the first point of each unbroken stretch, besides 0: a line is not drawn over a pause
 * that is much longer than the frames around it.
 */
export function breaksOf(points: readonly TracePoint[]): ReadonlySet<number> {
  const breaks = new Set<number>();
  for (let at = 1; at < points.length; at += 1) {
    const [before, point] = [points[at - 1], points[at]];
    if (!before || !point) continue;
    const idleMs = point.openedUtcMs - before.openedUtcMs - before.exposureSeconds * 1000;
    if (idleMs > 90_000 + before.exposureSeconds * 2000) breaks.add(at);
  }
  return breaks;
}
