import type { LightMap } from "../activity/lightMap.ts";
import { middleOf, valueAtShare } from "../statistics.ts";

/**
 * Which cells are sky. The ground is found by itself: dark, unmoving, and below one line that runs
 * from the left edge to the right. Evidence is gathered over frames, so that an arc's lower border,
 * which drifts, fades from it while the horizon stays.
 */
export type SkyEvidence = {
  readonly columns: number;
  readonly rows: number;
  /** Median luminance of the newest frame, relative to mid-grey, and its red over green. */
  readonly medianLight: number;
  readonly redOverGreen: number;
  /** Frames seen, at most `MEMORY_FRAMES`. */
  readonly frames: number;
  /** Running mean of log2 luminance over the frame's median, cell by cell. */
  readonly meanStops: Float32Array;
  /** Running mean of log2 (red / green). */
  readonly meanWarmth: Float32Array;
  /** First row that is ground, per column; `rows` where there is none. */
  readonly horizon: Int16Array;
  /** True once the horizon, or its absence, has held for some frames. */
  readonly isSure: boolean;
  /** Frames in a row in which the horizon stayed where it was. */
  readonly steadyFrames: number;
};

/** A point of the frame: 0, 0 is the upper left corner and 1, 1 the lower right. */
type FramePoint = { readonly x: number; readonly y: number };

/** The photographer's own correction; it replaces what was found. */
export type SkyMaskByHand = {
  /** The horizon from left to right, by rising x; the ground is below. Empty: no ground. */
  readonly horizon: readonly FramePoint[];
  /** Rectangles that are not metered, each by two opposite corners. */
  readonly leftOut: readonly (readonly [FramePoint, FramePoint])[];
};

const MEMORY_FRAMES = 24;
const SURE_FRAMES = 4;
/** Cells darker than the median by more than this count alike, stops. */
const FLOOR_STOPS = -8;

/** Adds a frame to the evidence and finds the horizon again. */
export function gatherSkyEvidence(before: SkyEvidence | null, light: LightMap): SkyEvidence {
  const { columns, rows } = light;
  const known = before?.columns === columns && before.rows === rows ? before : null;
  const { median, stops, warmth } = logLight(light);
  const frames = Math.min(MEMORY_FRAMES, (known?.frames ?? 0) + 1);
  if (known !== null) {
    const share = 1 / frames;
    for (let cell = 0; cell < stops.length; cell += 1) {
      stops[cell] = known.meanStops[cell]! + share * (stops[cell]! - known.meanStops[cell]!);
      warmth[cell] = known.meanWarmth[cell]! + share * (warmth[cell]! - known.meanWarmth[cell]!);
    }
  }
  const horizon = findHorizon(stops, columns, rows);
  const isSteady = known !== null && horizonShift(known.horizon, horizon) < 1;
  const steadyFrames = isSteady ? known.steadyFrames + 1 : 0;
  return {
    columns,
    rows,
    medianLight: median,
    redOverGreen: 2 ** sampledMedian(warmth),
    frames,
    meanStops: stops,
    meanWarmth: warmth,
    horizon,
    isSure: steadyFrames >= SURE_FRAMES || (known?.isSure === true && isSteady),
    steadyFrames,
  };
}

function logLight(light: LightMap) {
  const count = light.luminance.length;
  const stops = new Float32Array(count);
  const warmth = new Float32Array(count);
  const median = sampledMedian(light.luminance) + 1e-9;
  const floor = median * 2 ** FLOOR_STOPS;
  for (let cell = 0; cell < count; cell += 1) {
    stops[cell] = Math.log2(Math.max(light.luminance[cell]!, floor) / median);
    warmth[cell] = Math.log2((light.red[cell]! + 1e-3) / (light.green[cell]! + 1e-3));
  }
  return { median, stops, warmth };
}

/** Median of at most 256 evenly taken values; enough for a scale. */
function sampledMedian(values: Float32Array): number {
  const step = Math.max(1, Math.floor(values.length / 256)) | 1;
  const taken = new Float32Array(Math.ceil(values.length / step));
  for (let index = 0; index < taken.length; index += 1) taken[index] = values[index * step]!;
  return middleOf(taken)!;
}

/** Rows above and below over which the two sides of a horizon are compared; far shores are thin. */
const ABOVE_ROWS = 3;
const BELOW_ROWS = 2;
/** A step down to the ground counts at most this much: a lamp's black surroundings are no better. */
const STEP_STOPS_MAX = 2;
/** What a column without ground is worth: a fainter step is none. */
const NO_GROUND_STOPS = 0.4;
/** Cost of a row up or down from one column to the next. */
const BEND_COST = 0.06;
const BEND_ROWS_MAX = 4;

/**
 * The line with the greatest step from bright sky down to dark ground that bends the least, by
 * dynamic programming over the columns; then it must prove that all below it is dark.
 */
function findHorizon(stops: Float32Array, columns: number, rows: number): Int16Array {
  const none = new Int16Array(columns).fill(rows);
  if (rows < 12 || columns < 8) return none;
  const states = rows + 1;
  const best = new Float32Array(columns * states);
  const from = new Int16Array(columns * states);
  for (let column = 0; column < columns; column += 1) {
    const base = column * states;
    for (let row = 0; row <= rows; row += 1) {
      const step = row === rows ? NO_GROUND_STOPS : stepAt(stops, columns, rows, column, row);
      if (column === 0) {
        best[base + row] = step;
        continue;
      }
      let highest = -Infinity;
      const last = Math.min(rows, row + BEND_ROWS_MAX);
      for (let other = Math.max(0, row - BEND_ROWS_MAX); other <= last; other += 1) {
        const value = best[base - states + other]! - BEND_COST * Math.abs(other - row);
        if (value > highest) {
          highest = value;
          from[base + row] = other;
        }
      }
      best[base + row] = highest + step;
    }
  }
  const horizon = traceBack(best, from, columns, states);
  return isGroundDark(stops, columns, rows, horizon) ? horizon : none;
}

function stepAt(
  stops: Float32Array,
  columns: number,
  rows: number,
  column: number,
  row: number,
): number {
  if (row < ABOVE_ROWS) return -STEP_STOPS_MAX;
  const side = Math.min(BELOW_ROWS, rows - row);
  let above = 0;
  let below = 0;
  for (let k = 1; k <= ABOVE_ROWS; k += 1) above += stops[(row - k) * columns + column]!;
  for (let k = 0; k < side; k += 1) below += stops[(row + k) * columns + column]!;
  return Math.min(STEP_STOPS_MAX, above / ABOVE_ROWS - below / side);
}

function traceBack(best: Float32Array, from: Int16Array, columns: number, states: number) {
  const horizon = new Int16Array(columns);
  let row = 0;
  const last = (columns - 1) * states;
  for (let other = 1; other < states; other += 1) {
    if (best[last + other]! > best[last + row]!) row = other;
  }
  for (let column = columns - 1; column >= 0; column -= 1) {
    horizon[column] = row;
    row = from[column * states + row]!;
  }
  return horizon;
}

/** The ground is darker than even the dark parts of the sky by this much, stops. */
const GROUND_UNDER_SKY_STOPS = 0.9;
/** Rows under the line in which the ground must be dark; a lake below them may shine. */
const DARK_ROWS = 6;
/** A line that covers less of the frame's width with ground is no horizon. */
const GROUND_WIDTH_MIN = 0.25;

/** Sky under an arc is as bright as the sky elsewhere; ground is darker than any sky. */
function isGroundDark(
  stops: Float32Array,
  columns: number,
  rows: number,
  horizon: Int16Array,
): boolean {
  const sky: number[] = [];
  const ground: number[] = [];
  for (let column = 0; column < columns; column += 1) {
    const first = horizon[column]!;
    for (let row = column % 4; row < first; row += 4) sky.push(stops[row * columns + column]!);
    if (first >= rows) continue;
    let darkest = Infinity;
    for (let row = first; row < Math.min(rows, first + DARK_ROWS); row += 1) {
      darkest = Math.min(darkest, stops[row * columns + column]!);
    }
    ground.push(darkest);
  }
  if (ground.length < columns * GROUND_WIDTH_MIN || sky.length === 0) return false;
  const darkSky = valueAtShare(sky, 0.1)!;
  return middleOf(ground)! < darkSky - GROUND_UNDER_SKY_STOPS;
}

/** Mean shift of the line, rows. */
function horizonShift(before: Int16Array, now: Int16Array): number {
  let sum = 0;
  for (let column = 0; column < now.length; column += 1) {
    sum += Math.abs(now[column]! - before[column]!);
  }
  return sum / now.length;
}

/**
 * One byte a cell, 1 for sky. Cells that the horizon cuts are left out, and one above it.
 *
 * @param byHand  When given, only this counts.
 */
export function skyCells(
  light: LightMap,
  evidence: SkyEvidence,
  byHand: SkyMaskByHand | null,
): Uint8Array {
  const { columns, rows } = light;
  const isSky = new Uint8Array(columns * rows);
  for (let column = 0; column < columns; column += 1) {
    const ground =
      byHand === null ? foundGround(evidence, column) : handGround(byHand, column, light);
    for (let row = 0; row < ground; row += 1) isSky[row * columns + column] = 1;
  }
  for (const [a, b] of byHand?.leftOut ?? []) leaveOut(isSky, light, a, b);
  return isSky;
}

function foundGround(evidence: SkyEvidence, column: number): number {
  const first = evidence.horizon[column]!;
  return first >= evidence.rows ? first : Math.max(0, first - 1);
}

function handGround({ horizon }: SkyMaskByHand, column: number, light: LightMap): number {
  if (horizon.length === 0) return light.rows;
  const x = (column + 0.5) / light.columns;
  let right = horizon.findIndex((point) => point.x >= x);
  if (right < 0) right = horizon.length - 1;
  const b = horizon[right]!;
  const a = horizon[Math.max(0, right - 1)]!;
  const share = b.x > a.x ? Math.min(1, Math.max(0, (x - a.x) / (b.x - a.x))) : 1;
  return Math.round((a.y + (b.y - a.y) * share) * light.rows);
}

function leaveOut(isSky: Uint8Array, light: LightMap, a: FramePoint, b: FramePoint): void {
  const left = Math.floor(Math.min(a.x, b.x) * light.columns);
  const right = Math.ceil(Math.max(a.x, b.x) * light.columns);
  const top = Math.floor(Math.min(a.y, b.y) * light.rows);
  const bottom = Math.ceil(Math.max(a.y, b.y) * light.rows);
  for (let row = Math.max(0, top); row < Math.min(light.rows, bottom); row += 1) {
    for (let column = Math.max(0, left); column < Math.min(light.columns, right); column += 1) {
      isSky[row * light.columns + column] = 0;
    }
  }
}

/** Share of the cells that the line leaves to the ground, 0..1. */
export function groundShare({ columns, rows, horizon }: SkyEvidence): number {
  let ground = 0;
  for (const first of horizon) ground += rows - first;
  return ground / (columns * rows);
}

/** Street glow stands this near the horizon: a share of the sky's height. */
const GLOW_HEIGHT = 0.4;
/** It is brighter than the median of the frame by so much, and warmer than grey by so much, stops. */
const GLOW_STOPS = 0.8;
const GLOW_WARMTH = 0.15;
/** And brighter by so much than the rest of the sky at its own height above the horizon, stops. */
const GLOW_OVER_HEIGHT_STOPS = 0.5;
/** A dome over a town is narrower than this share of the width; dusk and dawn are broader. */
const GLOW_WIDTH_MAX = 0.6;
const GLOW_WIDTH_MIN = 0.05;
/** Its edge is let go where it is no brighter and no warmer than this. */
const GLOW_EDGE_STOPS = 0.2;
const GLOW_EDGE_WARMTH = -0.2;
/** Where a dome leaves the frame it has fallen by so much, stops. */
const GLOW_FALL_STOPS = 1;
const GLOW_FRAMES = 3;

/**
 * The cells of the glow over a town: low, warm, steady, no wider than half the frame, and brighter
 * than the rest of the sky at the same height, to its left and to its right.
 *
 * (Aurora's green is colder than grey; its red stands high and moves. Twilight, a cone of zodiacal
 * light and moonlit haze brighten a whole side of the sky or reach high up, and are sky.)
 *
 * @returns Empty when there is none.
 */
export function findGlow(evidence: SkyEvidence): readonly number[] {
  if (evidence.frames < GLOW_FRAMES) return [];
  const { columns, horizon, meanStops, meanWarmth } = evidence;
  const usual = usualStopsByHeight(evidence);
  const glow: number[] = [];
  /** Brightness over the height's usual of each column's brightest, where it is a dome's. */
  const domes = new Float32Array(columns);
  for (let column = 0; column < columns; column += 1) {
    const bottom = horizon[column]!;
    const cells: number[] = [];
    let [strong, most] = [0, 0];
    let row = bottom - 2;
    // A dome rises from the horizon; what hangs free above it is something else.
    for (; row > bottom * (1 - GLOW_HEIGHT); row -= 1) {
      const cell = row * columns + column;
      if (meanStops[cell]! <= GLOW_EDGE_STOPS || meanWarmth[cell]! <= GLOW_EDGE_WARMTH) break;
      const over = meanStops[cell]! - usual[bottom - 2 - row]!;
      const isBright = meanStops[cell]! > GLOW_STOPS && over > GLOW_OVER_HEIGHT_STOPS;
      if (isBright && meanWarmth[cell]! > GLOW_WARMTH) strong += 1;
      most = Math.max(most, over);
      if (over > GLOW_EDGE_STOPS) cells.push(cell);
    }
    // What still shines at the top of a dome's reach is no dome.
    if (strong > 2 && row > bottom * (1 - GLOW_HEIGHT)) domes[column] = most;
    glow.push(...cells);
  }
  const width = domes.reduce((count, dome) => count + (dome > 0 ? 1 : 0), 0);
  if (width < columns * GLOW_WIDTH_MIN || width > columns * GLOW_WIDTH_MAX) return [];
  // A light that only falls toward one side comes from beyond the frame: twilight mostly.
  const peak = Math.max(...domes);
  if (Math.max(domes[0]!, domes.at(-1)!) > peak - GLOW_FALL_STOPS) return [];
  return glow;
}

/** Median over the columns of the brightness at each height above the horizon, from two rows up. */
function usualStopsByHeight({ columns, horizon, meanStops, rows }: SkyEvidence): Float32Array {
  const usual = new Float32Array(rows);
  for (let height = 0; height < rows; height += 1) {
    const here: number[] = [];
    for (let column = 0; column < columns; column += 2) {
      const row = horizon[column]! - 2 - height;
      if (row >= 0) here.push(meanStops[row * columns + column]!);
    }
    if (here.length === 0) break;
    usual[height] = middleOf(here)!;
  }
  return usual;
}
