import type { Exposure } from "../exposure/exposure.ts";
import type { MonotonicMs } from "../units.ts";
import type { CellGrid } from "./cells.ts";
import { QUANTILES, type FrameCodes } from "./responseLearner.ts";

/** Histogram bins to a code: cells are means, so their codes have fractions. */
const BINS_PER_CODE = 2;

/** What the tone curve is learned from: the metered cells' codes at the quantiles, per channel. */
export function codesAtQuantiles(
  grid: CellGrid,
  isMetered: Uint8Array,
  frame: {
    readonly exposure: Exposure;
    readonly openedMs: MonotonicMs;
    readonly followsTheSky?: boolean;
  },
): FrameCodes {
  const { exposureSeconds, iso, fNumber } = frame.exposure;
  const bins = new Uint32Array(3 * BINS);
  let cellCount = 0;
  for (let cell = 0; cell < isMetered.length; cell += 1) {
    if (isMetered[cell] === 0) continue;
    cellCount += 1;
    bins[(grid.red[cell]! * BINS_PER_CODE) | 0]! += 1;
    bins[BINS + ((grid.green[cell]! * BINS_PER_CODE) | 0)]! += 1;
    bins[2 * BINS + ((grid.blue[cell]! * BINS_PER_CODE) | 0)]! += 1;
  }
  return {
    exposureStops: Math.log2((exposureSeconds * iso) / fNumber ** 2),
    seconds: frame.openedMs / 1000 + exposureSeconds / 2,
    cellCount,
    followsTheSky: frame.followsTheSky === true,
    codes: [0, 1, 2].flatMap((channel) =>
      quantilesOf(bins.subarray(channel * BINS, (channel + 1) * BINS), cellCount),
    ),
  };
}

const BINS = 255 * BINS_PER_CODE + 1;

function quantilesOf(bins: Uint32Array, count: number): number[] {
  const codes: number[] = [];
  let below = 0;
  let bin = 0;
  for (const share of QUANTILES) {
    const wanted = share * count;
    while (bin < bins.length - 1 && below + bins[bin]! < wanted) {
      below += bins[bin]!;
      bin += 1;
    }
    const here = Math.max(1, bins[bin]!);
    codes.push((bin + Math.min(1, (wanted - below) / here)) / BINS_PER_CODE);
  }
  return codes;
}
