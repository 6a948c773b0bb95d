import { quantileOf, weightedMedianOf } from "../statistics.ts";

/** Neighbours that a frame is compared with: half of them on either side where the sky allows. */
const NEIGHBOUR_FRAMES = 16;

/** Fewer neighbours than this cannot tell a trend from scatter. */
const NEIGHBOUR_FRAMES_MIN = 8;

/** A neighbourhood this many times as restless as the night's usual is the sky's doing. */
const RESTLESS = 2.5;

/**
 * Scatter is believed whole up to this and not at all beyond twice of it, stops: a camera's is at
 * most a tenth or two (common practice, no source), more is the scene's.
 */
const WHOLE_STOPS = 0.2;

/** No cell is known better than this, stops. */
const CELL_FLOOR_STOPS = 0.003;

/**
 * The scatter of single frames against their neighbours, common to the whole picture.
 *
 * Each cell is predicted from its neighbours in time by a straight line, without the frame itself:
 * from both sides alike, or, where the sky breaks up, from neighbours more to the side on which the
 * line holds. What all quiet cells are off by, at once, is the frame's scatter; cells in which
 * aurora moves have wide residuals and little weight. Where even the quietest cells move, scatter
 * cannot be distinguished from sky and is left in.
 *
 * @param cells  Per cell: brightness of each frame with the exposure taken out, stops.
 * @param seconds  When each frame was taken, rising.
 * @returns Stops to take off each frame; 0 for fewer than about ten frames.
 * Source: leave-one-out local lines as in locally weighted regression (Cleveland 1979), and the
 * choice of the smoothest neighbours as in essentially non-oscillatory interpolation (Harten 1987).
 */
export function localScatter(
  cells: readonly Float64Array[],
  seconds: readonly number[],
): readonly number[] {
  const first = onePass(cells, seconds);
  // The first look compared each frame with neighbours that had scatter of their own.
  const cleaned = cells.map((cell) => cell.map((value, i) => value - first[i]!));
  const second = onePass(cleaned, seconds);
  return first.map((value, i) => value + second[i]!);
}

type Look = {
  readonly off: readonly number[];
  readonly rms: readonly number[];
  /** How restless the quietest cells were, stops. */
  readonly cost: number;
  /** Doubt of the line where the frame stands, for neighbours of doubt 1. */
  readonly leverage: number;
};

function onePass(cells: readonly Float64Array[], seconds: readonly number[]): number[] {
  const centres = seconds.map((_, i) => lookBothWays(cells, seconds, i));
  // Half the frames of a night are quiet: their cost is what scatter itself and noise amount to.
  const costs = centres.map((look) => look?.cost ?? NaN);
  const median = quantileOf(costs, 0.5);
  const quiet = Number.isFinite(median) ? Math.max(median, CELL_FLOOR_STOPS) : CELL_FLOOR_STOPS;
  return centres.map((centre, i) => {
    if (centre === null) return 0;
    if (centre.cost <= RESTLESS * quiet) return believed(commonOff(centre), WHOLE_STOPS);
    const best = lookWhereItHolds(cells, seconds, i);
    if (best.cost > RESTLESS * quiet) return 0;
    // Beside a restless sky a frame's scatter and the sky's first move look alike; only what is
    // usual for this camera is taken for scatter.
    return believed(commonOff(best), Math.min(WHOLE_STOPS, 2 * quiet));
  });
}

/** What the quiet cells are off by together. */
function commonOff(look: Look): number {
  const weights = look.rms.map((rms) => 1 / (CELL_FLOOR_STOPS ** 2 + rms ** 2));
  const off = weightedMedianOf(look.off, weights);
  return Number.isFinite(off) ? off : 0;
}

/** Whole up to a size, nothing from twice of it on. */
function believed(off: number, wholeStops: number): number {
  const beyond = (Math.abs(off) - wholeStops) / wholeStops;
  return off * Math.min(1, Math.max(0, 1 - beyond));
}

/** Neighbours on both sides alike; at an end of the set all on the one side that there is. */
function lookBothWays(
  cells: readonly Float64Array[],
  seconds: readonly number[],
  i: number,
): Look | null {
  const last = seconds.length - 1;
  if (last < NEIGHBOUR_FRAMES_MIN) return null;
  return lookAround(cells, seconds, i, startNear(i - NEIGHBOUR_FRAMES / 2, last));
}

/** Of all runs of neighbours around a frame the one whose line is known best where the frame is. */
function lookWhereItHolds(
  cells: readonly Float64Array[],
  seconds: readonly number[],
  i: number,
): Look {
  const last = seconds.length - 1;
  const starts = new Set<number>();
  for (let from = i - NEIGHBOUR_FRAMES; from <= i; from += 1) starts.add(startNear(from, last));
  const doubt = (look: Look): number => look.cost * look.leverage;
  return [...starts]
    .map((from) => lookAround(cells, seconds, i, from))
    .reduce((best, look) => (doubt(look) < doubt(best) ? look : best));
}

/** Where a run of neighbours begins, so that it lies inside the set. */
function startNear(from: number, last: number): number {
  return Math.max(0, Math.min(from, last - NEIGHBOUR_FRAMES));
}

/** Each cell against a weighted line through its neighbours, the frame itself left out. */
function lookAround(
  cells: readonly Float64Array[],
  seconds: readonly number[],
  i: number,
  from: number,
): Look {
  const to = Math.min(seconds.length - 1, from + NEIGHBOUR_FRAMES);
  const weights: number[] = [];
  const reach = Math.max(i - from, to - i) + 1;
  for (let k = from; k <= to; k += 1) {
    // Tricube weights, as in Cleveland 1979.
    weights.push(k === i ? 0 : (1 - (Math.abs(k - i) / reach) ** 3) ** 3);
  }
  const off: number[] = [];
  const rms: number[] = [];
  for (const cell of cells) {
    const fit = fitLine(cell, seconds, weights, { i, from, to });
    off.push(fit.off);
    rms.push(fit.rms);
  }
  const leverage = leverageOf(seconds, weights, { i, from });
  return { off, rms, cost: quantileOf(rms, 0.25), leverage };
}

/** Root of the summed squares of what each neighbour counts in the line's value at the frame. */
function leverageOf(
  seconds: readonly number[],
  weights: readonly number[],
  { i, from }: { i: number; from: number },
): number {
  const times = weights.map((_, k) => seconds[from + k]! - seconds[i]!);
  const sumOf = (power: number): number =>
    weights.reduce((sum, weight, k) => sum + weight * times[k]! ** power, 0);
  const [w, wt, wtt] = [sumOf(0), sumOf(1), sumOf(2)];
  const shares = weights.map(
    (weight, k) => (weight * (wtt - wt * times[k]!)) / (w * wtt - wt ** 2),
  );
  return Math.sqrt(shares.reduce((sum, share) => sum + share ** 2, 0));
}

function fitLine(
  cell: Float64Array,
  seconds: readonly number[],
  weights: readonly number[],
  { i, from, to }: { i: number; from: number; to: number },
): { off: number; rms: number } {
  let [w, wt, wy, wtt, wty, wyy] = [0, 0, 0, 0, 0, 0];
  for (let k = from; k <= to; k += 1) {
    const weight = weights[k - from]!;
    const y = cell[k]! - cell[i]!;
    if (weight === 0 || Number.isNaN(y)) continue;
    const t = seconds[k]! - seconds[i]!;
    w += weight;
    wt += weight * t;
    wy += weight * y;
    wtt += weight * t * t;
    wty += weight * t * y;
    wyy += weight * y * y;
  }
  const determinant = w * wtt - wt * wt;
  if (w === 0 || determinant <= 1e-12 * w * wtt) return { off: NaN, rms: NaN };
  const level = (wtt * wy - wt * wty) / determinant;
  const slope = (w * wty - wt * wy) / determinant;
  const variance = (wyy - level * wy - slope * wty) / w;
  // The frame stands at 0; the line passes at `level`.
  return { off: -level, rms: Math.sqrt(Math.max(0, variance)) };
}
