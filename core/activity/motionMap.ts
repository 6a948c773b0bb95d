import { RAD_PER_DEG } from "../sky/angles.ts";
import type { LightMap } from "./lightMap.ts";
import type { MonotonicMs } from "../units.ts";

/**
 * The sky's structure on a grid of equal angles, made ready for matching: logarithmic, with
 * everything broad (vignetting, moonlight, twilight) taken off, points of light patched over.
 */
export type MotionMap = {
  readonly columns: number;
  readonly rows: number;
  /** Degrees from one cell to the next, both ways. */
  readonly stepDeg: number;
  /** Structure in stops; 0 where there is no sky. */
  readonly values: Float32Array;
  /** 1 where there is sky. */
  readonly isSky: Uint8Array;
  /** Middle of the exposure. */
  readonly midMs: MonotonicMs;
  readonly exposureSeconds: number;
};

/** How large a cell of the light map is in the sky. */
type MotionOptics = {
  /** Degrees that a cell of the light map covers on the axis. */
  readonly cellDeg: number;
};

/** Structure broader than this many cells is no structure but shading. */
const BROAD_CELLS = 16;
/** Light added before the logarithm, of the mean: noise in the dark must not look like structure. */
const FOOT = 0.25;

/**
 * Draws the map. A rectilinear picture is resampled to angles across and angles up, so that one turn
 * of the sky is one shift of the map, at the edge as in the middle.
 *
 * @param isSky  Cells with sky, stars included.
 * @param isMetered  The same without points of light, which are patched over.
 */
export function drawMotionMap(
  light: LightMap,
  isSky: Uint8Array,
  isMetered: Uint8Array,
  frame: MotionOptics & { readonly midMs: MonotonicMs; readonly exposureSeconds: number },
): MotionMap {
  const patched = patchPoints(light, isSky, isMetered);
  const angular = toAngles(patched, isSky, light.columns, light.rows, frame.cellDeg);
  const values = withoutBroad(angular.values, angular.isSky, angular.columns, angular.rows);
  return {
    ...angular,
    values: smooth(values, angular.isSky, angular.columns, angular.rows),
    stepDeg: frame.cellDeg,
    midMs: frame.midMs,
    exposureSeconds: frame.exposureSeconds,
  };
}

/** Log light; a star's cell takes the mean of its metered neighbours. */
function patchPoints(light: LightMap, isSky: Uint8Array, isMetered: Uint8Array): Float32Array {
  const { columns, luminance } = light;
  let [sum, count] = [0, 0];
  for (let cell = 0; cell < luminance.length; cell += 1) {
    if (isMetered[cell] === 0) continue;
    sum += luminance[cell]!;
    count += 1;
  }
  const scale = count / Math.max(1e-9, sum);
  const values = new Float32Array(luminance.length);
  for (let cell = 0; cell < luminance.length; cell += 1) {
    if (isSky[cell] === 0) continue;
    const value = isMetered[cell] === 1 ? luminance[cell]! : around(cell);
    values[cell] = Math.log2(FOOT + value * scale);
  }
  return values;

  function around(cell: number): number {
    let [near, taken] = [0, 0];
    for (const step of [-2 * columns, -2, 2, 2 * columns, -columns, -1, 1, columns]) {
      if (isMetered[cell + step] !== 1) continue;
      near += luminance[cell + step]!;
      taken += 1;
    }
    return taken > 0 ? near / taken : 1 / scale;
  }
}

function toAngles(
  values: Float32Array,
  isSky: Uint8Array,
  fromColumns: number,
  fromRows: number,
  stepDeg: number,
) {
  const focal = 1 / Math.tan(stepDeg * RAD_PER_DEG); // in cells
  const halfU = Math.floor(Math.atan(fromColumns / 2 / focal) / (stepDeg * RAD_PER_DEG));
  const halfV = Math.floor(Math.atan(fromRows / 2 / focal) / (stepDeg * RAD_PER_DEG));
  const columns = 2 * halfU + 1;
  const rows = 2 * halfV + 1;
  const outValues = new Float32Array(columns * rows);
  const outSky = new Uint8Array(columns * rows);
  for (let column = 0; column < columns; column += 1) {
    const u = (column - halfU) * stepDeg * RAD_PER_DEG;
    const x = (fromColumns - 1) / 2 + focal * Math.tan(u);
    const stretch = focal / Math.cos(u);
    const x0 = Math.floor(x);
    if (x0 < 0 || x0 >= fromColumns - 1) continue;
    const fx = x - x0;
    for (let row = 0; row < rows; row += 1) {
      const y = (fromRows - 1) / 2 + stretch * Math.tan((row - halfV) * stepDeg * RAD_PER_DEG);
      const y0 = Math.floor(y);
      if (y0 < 0 || y0 >= fromRows - 1) continue;
      const fy = y - y0;
      const a = y0 * fromColumns + x0;
      const c = a + fromColumns;
      if ((isSky[a]! & isSky[a + 1]! & isSky[c]! & isSky[c + 1]!) === 0) continue;
      const cell = row * columns + column;
      outSky[cell] = 1;
      outValues[cell] =
        (values[a]! * (1 - fx) + values[a + 1]! * fx) * (1 - fy) +
        (values[c]! * (1 - fx) + values[c + 1]! * fx) * fy;
    }
  }
  return { columns, rows, values: outValues, isSky: outSky };
}

/** Values less the mean of the sky within `BROAD_CELLS`, by sums over rectangles. */
function withoutBroad(values: Float32Array, isSky: Uint8Array, columns: number, rows: number) {
  const stride = columns + 1;
  const sums = new Float64Array(stride * (rows + 1));
  const counts = new Int32Array(stride * (rows + 1));
  for (let row = 0; row < rows; row += 1) {
    let [sum, count] = [0, 0];
    for (let column = 0; column < columns; column += 1) {
      const cell = row * columns + column;
      sum += values[cell]!;
      count += isSky[cell]!;
      const at = (row + 1) * stride + column + 1;
      sums[at] = sums[at - stride]! + sum;
      counts[at] = counts[at - stride]! + count;
    }
  }
  const result = new Float32Array(values.length);
  for (let row = 0; row < rows; row += 1) {
    const top = Math.max(0, row - BROAD_CELLS) * stride;
    const bottom = Math.min(rows, row + BROAD_CELLS + 1) * stride;
    for (let column = 0; column < columns; column += 1) {
      const cell = row * columns + column;
      if (isSky[cell] === 0) continue;
      const left = Math.max(0, column - BROAD_CELLS);
      const right = Math.min(columns, column + BROAD_CELLS + 1);
      const sum =
        sums[bottom + right]! - sums[top + right]! - sums[bottom + left]! + sums[top + left]!;
      const count =
        counts[bottom + right]! -
        counts[top + right]! -
        counts[bottom + left]! +
        counts[top + left]!;
      result[cell] = values[cell]! - sum / count;
    }
  }
  return result;
}

/** A 1-2-1 blur each way within the sky: gradients of noise would shorten every shift. */
function smooth(values: Float32Array, isSky: Uint8Array, columns: number, rows: number) {
  const across = new Float32Array(values.length);
  for (let row = 0; row < rows; row += 1) {
    for (let column = 1; column < columns - 1; column += 1) {
      const cell = row * columns + column;
      across[cell] = (values[cell - 1]! + 2 * values[cell]! + values[cell + 1]!) / 4;
    }
  }
  const result = new Float32Array(values.length);
  for (let row = 1; row < rows - 1; row += 1) {
    for (let column = 1; column < columns - 1; column += 1) {
      const cell = row * columns + column;
      if (isSky[cell] === 0) continue;
      result[cell] = (across[cell - columns]! + 2 * across[cell]! + across[cell + columns]!) / 4;
    }
  }
  return result;
}
