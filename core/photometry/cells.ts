/**
 * The frame on a coarse grid of square cells: all that the meter needs, in one pass over the pixels.
 *
 * Codes are averaged as codes and only then made linear. Within a cell the sky is nearly even, so
 * this costs next to nothing, and it takes the sting out of stars and hot pixels; the share of
 * noise is made good by `lightCurvature` where it matters.
 */
export type CellGrid = {
  readonly columns: number;
  readonly rows: number;
  /** Side of a cell, pixels of the metered image. */
  readonly cellPx: number;
  /** Pixels of each cell that were read; in large cells every second row is. */
  readonly pixelsPerCell: number;
  /** Mean code of each cell per channel, row by row from the top. */
  readonly red: Float32Array;
  readonly green: Float32Array;
  readonly blue: Float32Array;
  /** Pixels at the ceiling of each cell, per channel, among those read. */
  readonly clippedRed: Uint16Array;
  readonly clippedGreen: Uint16Array;
  readonly clippedBlue: Uint16Array;
  /** Variance of green codes within a cell, median over the frame: the noise of one pixel, squared. */
  readonly noiseVariance: number;
};

/** A pixel from this code up is at the ceiling; JPEG coding lets a clipped 255 ring a little. */
export const CLIPPED_CODE = 252;

/** Cells across the frame: fine enough for a horizon, coarse enough to be quick. */
const COLUMNS_WANTED = 150;

/** Side of a cell for an image of this width, pixels. */
export function cellSize(widthPx: number): number {
  if (widthPx < 64) return 1;
  // A thumbnail must be metered in a fraction of a millisecond; it gets fewer, larger cells.
  if (widthPx < 240) return widthPx < 120 ? 2 : 4;
  return Math.max(2, Math.round(widthPx / COLUMNS_WANTED));
}

/**
 * Averages an image over square cells; a remainder narrower than a cell at the right and bottom is
 * left out.
 *
 * @param rgb  Three bytes a pixel, row by row, at least `widthPx · heightPx · 3` of them.
 */
export function reduceToCells(widthPx: number, heightPx: number, rgb: Uint8Array): CellGrid {
  const cellPx = Math.min(cellSize(widthPx), heightPx);
  const columns = Math.floor(widthPx / cellPx);
  const rows = Math.floor(heightPx / cellPx);
  const count = columns * rows;
  const [red, green, blue] = planesOf(new Float32Array(3 * count), count);
  const clipped = planesOf(new Uint16Array(3 * count), count);
  const variances = new Uint32Array(VARIANCE_BINS);
  const rowStep = cellPx >= ROWS_SKIPPED_FROM ? 2 : 1;
  const pixels = cellPx * Math.ceil(cellPx / rowStep);
  const stride = widthPx * 3;
  const skip = rowStep * stride - cellPx * 3;
  let sampled = 0;

  for (let row = 0, cell = 0; row < rows; row += 1) {
    for (let column = 0; column < columns; column += 1, cell += 1) {
      const first = row * cellPx * stride + column * cellPx * 3;
      let at = first;
      let r = 0;
      let g = 0;
      let b = 0;
      let reach = 0;
      for (let y = 0; y < cellPx; y += rowStep, at += skip) {
        for (let x = 0; x < cellPx; x += 1, at += 3) {
          const pr = rgb[at]!;
          const pg = rgb[at + 1]!;
          const pb = rgb[at + 2]!;
          r += pr;
          g += pg;
          b += pb;
          // Bit 8 is set once a code lies at the ceiling; no branch in the innermost loop.
          reach |= (pr + TO_BIT_8) | (pg + TO_BIT_8) | (pb + TO_BIT_8);
        }
      }
      red[cell] = r / pixels;
      green[cell] = g / pixels;
      blue[cell] = b / pixels;
      if ((cell & NOISE_EVERY) === 0 && pixels > 1) {
        const variance = greenVariance(rgb, first, cellPx, stride, g / pixels);
        variances[Math.min(VARIANCE_BINS - 1, (variance * 2) | 0)]! += 1;
        sampled += 1;
      }
      // Clipped pixels are rare, so they are counted in a pass of their own.
      if ((reach & 256) !== 0) countClipped(rgb, { first, cellPx, rowStep, skip }, clipped, cell);
    }
  }
  const [clippedRed, clippedGreen, clippedBlue] = clipped;
  return {
    columns,
    rows,
    cellPx,
    pixelsPerCell: pixels,
    red,
    green,
    blue,
    clippedRed,
    clippedGreen,
    clippedBlue,
    noiseVariance: medianOfBins(variances, sampled) / 2,
  };
}

/** Counts a cell's pixels at the ceiling, channel by channel. */
function countClipped(
  rgb: Uint8Array,
  walk: {
    /** Where the cell's first pixel lies. */
    readonly first: number;
    readonly cellPx: number;
    readonly rowStep: number;
    /** From the end of one row of the cell to the start of the next that is read. */
    readonly skip: number;
  },
  [red, green, blue]: readonly [Uint16Array, Uint16Array, Uint16Array],
  cell: number,
): void {
  const { first, cellPx, rowStep, skip } = walk;
  let at = first;
  for (let y = 0; y < cellPx; y += rowStep, at += skip) {
    for (let x = 0; x < cellPx; x += 1, at += 3) {
      if (rgb[at]! >= CLIPPED_CODE) red[cell]! += 1;
      if (rgb[at + 1]! >= CLIPPED_CODE) green[cell]! += 1;
      if (rgb[at + 2]! >= CLIPPED_CODE) blue[cell]! += 1;
    }
  }
}

/** Three planes out of one allocation: a small array costs more to make than to fill. */
export function planesOf<T extends Float32Array | Uint16Array>(all: T, count: number): [T, T, T] {
  const plane = (index: number): T => all.subarray(index * count, (index + 1) * count) as T;
  return [plane(0), plane(1), plane(2)];
}

/** In cells of this side and more, neighbouring rows say the same and every second one is read. */
const ROWS_SKIPPED_FROM = 4;
/** What lifts `CLIPPED_CODE` to 256. */
const TO_BIT_8 = 256 - CLIPPED_CODE;
/** The noise is measured in every eighth cell. */
const NOISE_EVERY = 7;

function greenVariance(
  rgb: Uint8Array,
  first: number,
  cellPx: number,
  stride: number,
  mean: number,
): number {
  let sum = 0;
  for (let y = 0; y < cellPx; y += 1) {
    for (let x = 0; x < cellPx; x += 1) sum += (rgb[first + y * stride + x * 3 + 1]! - mean) ** 2;
  }
  return sum / (cellPx * cellPx - 1);
}

/** Bins of half a code², for the median variance; noisier than 256 codes² is one bin. */
const VARIANCE_BINS = 512;

function medianOfBins(bins: Uint32Array, count: number): number {
  let seen = 0;
  for (let bin = 0; bin < bins.length; bin += 1) {
    const here = bins[bin]!;
    if (seen + here > count / 2) return bin + (count / 2 - seen) / here;
    seen += here;
  }
  return 0;
}
