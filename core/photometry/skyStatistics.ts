import type { CellGrid } from "./cells.ts";
import type { LightMap } from "../activity/lightMap.ts";
import { linearOfCode, LUMINANCE_WEIGHTS, MID_GREY_CODE } from "./srgb.ts";

/** The numbers of the metered sky. */
export type SkyStatistics = {
  /** Cells that were metered. */
  readonly count: number;
  /** Mean luminance relative to mid-grey, > 0. */
  readonly mean: number;
  /** Its 99.5th percentile, at least the mean. */
  readonly peak: number;
  /** Mean code of each channel. */
  readonly redCode: number;
  readonly greenCode: number;
  readonly blueCode: number;
  /** Share of pixels at the ceiling, per channel. */
  readonly clippedShare: { readonly red: number; readonly green: number; readonly blue: number };
  /** Counts of luminance codes, 64 bins. */
  readonly histogram: readonly number[];
};

/** The darkest sky that is distinguishable from black: half a code. */
export const DARKEST_LIGHT = linearOfCode(0.5) / linearOfCode(MID_GREY_CODE);

/** Bins a mean's worth of light is divided into for the percentile, and how far they reach. */
const BINS_PER_MEAN = 128;
const MEANS_MAX = 16;

/** Measures the cells marked as sky. */
export function measureSky(grid: CellGrid, light: LightMap, isSky: Uint8Array): SkyStatistics {
  const counts = new Uint32Array(64);
  const { red: wr, green: wg, blue: wb } = LUMINANCE_WEIGHTS;
  const { luminance } = light;
  let count = 0;
  let sum = 0;
  let red = 0;
  let green = 0;
  let blue = 0;
  let clippedRed = 0;
  let clippedGreen = 0;
  let clippedBlue = 0;
  for (let cell = 0; cell < isSky.length; cell += 1) {
    if (isSky[cell] === 0) continue;
    count += 1;
    sum += luminance[cell]!;
    const r = grid.red[cell]!;
    const g = grid.green[cell]!;
    const b = grid.blue[cell]!;
    red += r;
    green += g;
    blue += b;
    clippedRed += grid.clippedRed[cell]!;
    clippedGreen += grid.clippedGreen[cell]!;
    clippedBlue += grid.clippedBlue[cell]!;
    counts[(wr * r + wg * g + wb * b) >> 2]! += 1;
  }
  const cells = Math.max(1, count);
  const pixels = cells * grid.pixelsPerCell;
  const mean = Math.max(DARKEST_LIGHT, sum / cells);
  return {
    count,
    mean,
    peak: Math.max(mean, percentile(luminance, isSky, count, mean)),
    redCode: red / cells,
    greenCode: green / cells,
    blueCode: blue / cells,
    clippedShare: {
      red: clippedRed / pixels,
      green: clippedGreen / pixels,
      blue: clippedBlue / pixels,
    },
    histogram: Array.from(counts),
  };
}

/** The share of the sky that lies above its peak. */
const PEAK_SHARE = 0.005;

function percentile(luminance: Float32Array, isSky: Uint8Array, count: number, mean: number) {
  const bins = new Uint32Array(BINS_PER_MEAN * MEANS_MAX + 1);
  const scale = BINS_PER_MEAN / mean;
  const top = bins.length - 1;
  for (let cell = 0; cell < isSky.length; cell += 1) {
    if (isSky[cell] === 0) continue;
    const bin = (luminance[cell]! * scale) | 0;
    bins[bin < top ? bin : top]! += 1;
  }
  let left = count * PEAK_SHARE;
  for (let bin = top; bin > 0; bin -= 1) {
    const here = bins[bin]!;
    if (here > left) return (bin + 0.5) / scale;
    left -= here;
  }
  return 0;
}
