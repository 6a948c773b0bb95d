import { NightError } from "../errors.ts";

/** A sky over time, as columns; values run linearly between rows. */
export type RehearsalSky = {
  /** Never falling; two rows of the same second are a sudden step. */
  readonly seconds: Float64Array;
  /** Mean luminance of the metered sky, cd/m², > 0. */
  readonly luminanceCdM2: Float64Array;
  /** 99.5th percentile luminance over the mean, ≥ 1. */
  readonly peakRatio: Float64Array;
  /** Apparent angular speed of the curtains; 0: no structure. */
  readonly driftDegPerSecond: Float64Array;
  /** What was bridged or passed over in the file, in plain words. */
  readonly remarks: readonly string[];
};

/** What a sky was during one exposure. */
export type SkyWindow = {
  /** Mean of the luminance over the window, cd/m². */
  readonly meanCdM2: number;
  /** Light of the brightest parts over the mean: ∫ ratio · L dt / ∫ L dt. */
  readonly peakRatio: number;
  /** Mean over the window. */
  readonly driftDegPerSecond: number;
};

/**
 * A sky from rows, checked.
 *
 * @throws NightError `sky.file_invalid` on fewer than two rows, falling seconds, no duration, a
 *   number that is not finite, luminance ≤ 0, a peak ratio < 1 or a negative drift; the sentence
 *   names the row, counted from `firstRowNumber`.
 */
export function skyFromColumns(
  columns: Omit<RehearsalSky, "remarks">,
  rowName: (index: number) => string = (index) => `row ${index + 1}`,
): RehearsalSky {
  const { seconds, luminanceCdM2, peakRatio, driftDegPerSecond } = columns;
  const count = seconds.length;
  if (count === 0) throw invalid("The sky has no rows; it needs at least two.");
  for (let index = 0; index < count; index += 1) {
    const at = seconds[index]!;
    if (!Number.isFinite(at)) throw invalid(`${rowName(index)}: seconds is not a number.`);
    if (index > 0 && at < seconds[index - 1]!) {
      throw invalid(
        `${rowName(index)}: seconds must rise, but ${at} comes after ${seconds[index - 1]!}.`,
      );
    }
    if (!(luminanceCdM2[index]! > 0 && luminanceCdM2[index]! < Infinity)) {
      throw invalid(`${rowName(index)}: luminanceCdM2 must be a number above 0.`);
    }
    if (!(peakRatio[index]! >= 1 && peakRatio[index]! < Infinity)) {
      throw invalid(`${rowName(index)}: peakRatio must be a number of at least 1.`);
    }
    if (!(driftDegPerSecond[index]! >= 0 && driftDegPerSecond[index]! < Infinity)) {
      throw invalid(`${rowName(index)}: driftDegPerSecond must be a number of at least 0.`);
    }
  }
  if (count === 1) throw invalid("The sky has only one row; it needs at least two.");
  if (seconds[count - 1]! <= seconds[0]!) throw invalid("The sky lasts no time at all.");
  return { ...columns, remarks: gapRemarks(seconds, rowName) };
}

function invalid(sentence: string): NightError {
  return new NightError("sky.file_invalid", sentence);
}

/** A gap longer than this and than ten usual row spacings is worth a remark. */
const GAP_SECONDS_MIN = 60;

function gapRemarks(seconds: Float64Array, rowName: (index: number) => string): string[] {
  const usual = (seconds.at(-1)! - seconds[0]!) / (seconds.length - 1);
  const remarks: string[] = [];
  for (let index = 1; index < seconds.length && remarks.length < 20; index += 1) {
    const gap = seconds[index]! - seconds[index - 1]!;
    if (gap > GAP_SECONDS_MIN && gap > 10 * usual) {
      remarks.push(`${rowName(index)}: ${Math.round(gap)} s without a row, bridged linearly`);
    }
  }
  return remarks;
}

/**
 * Looks along a sky in time. It remembers where it looked last, so that a night's windows, each
 * later than the one before, cost one walk along the rows whatever their number.
 */
export type SkyReader = {
  /**
   * Exact over the linear pieces; before the first row and after the last the sky stands still.
   *
   * @param toSeconds  > fromSeconds.
   */
  window(fromSeconds: number, toSeconds: number): SkyWindow;
  /** Luminance at a moment, cd/m². */
  luminanceAt(atSeconds: number): number;
};

/** A reader at the start of a sky. */
export function readSky(sky: RehearsalSky): SkyReader {
  const { seconds } = sky;
  const last = seconds.length - 1;
  let cursor = 0;
  /** The piece [index, index + 1] that holds a moment; pieces of no length are passed over. */
  const seek = (at: number): number => {
    if (at < seconds[cursor]!) cursor = at < seconds[0]! ? 0 : bisect(seconds, at);
    while (cursor < last - 1 && seconds[cursor + 1]! <= at) cursor += 1;
    return cursor;
  };
  /** Where the piece ends that a moment lies in; before and after the rows the sky stands still. */
  const endOf = (index: number, at: number): number => {
    if (at < seconds[0]!) return seconds[0]!;
    if (index < last - 1) return seconds[index + 1]!;
    return at < seconds[last]! ? seconds[last]! : Infinity;
  };
  return {
    window: (from, to) => {
      const sums: Sums = { light: 0, peak: 0, drift: 0 };
      let index = seek(from);
      for (let at = from; at < to;) {
        const end = Math.min(to, endOf(index, at));
        if (end > at) addPiece(sums, sky, { index, from: at, to: end });
        if (at >= seconds[0]! && index < last - 1) index += 1;
        at = end;
      }
      return {
        meanCdM2: sums.light / (to - from),
        peakRatio: sums.peak / sums.light,
        driftDegPerSecond: sums.drift / (to - from),
      };
    },
    luminanceAt: (at) => {
      const index = seek(at);
      return mix(sky.luminanceCdM2, index, shareOf(seconds, index, at));
    },
  };
}

/** Integrals over a window: luminance, its brightest parts, drift. */
type Sums = { light: number; peak: number; drift: number };

function addPiece(
  sums: Sums,
  { seconds, luminanceCdM2: light, peakRatio: peak, driftDegPerSecond: drift }: RehearsalSky,
  { index, from, to }: { readonly index: number; readonly from: number; readonly to: number },
): void {
  const span = to - from;
  const a = shareOf(seconds, index, from);
  const b = shareOf(seconds, index, to);
  const middle = (a + b) / 2;
  const lightA = mix(light, index, a);
  const lightB = mix(light, index, b);
  const lightM = (lightA + lightB) / 2;
  // Simpson's rule is exact for the product of two linear pieces.
  const product =
    lightA * mix(peak, index, a) +
    4 * lightM * mix(peak, index, middle) +
    lightB * mix(peak, index, b);
  sums.light += lightM * span;
  sums.peak += (product / 6) * span;
  sums.drift += mix(drift, index, middle) * span;
}

/** How far into a piece a moment lies, 0..1. */
function shareOf(seconds: Float64Array, index: number, at: number): number {
  const span = seconds[index + 1]! - seconds[index]!;
  return span > 0 ? Math.min(1, Math.max(0, (at - seconds[index]!) / span)) : 1;
}

function mix(column: Float64Array, index: number, part: number): number {
  return column[index]! + part * (column[index + 1]! - column[index]!);
}

function bisect(seconds: Float64Array, at: number): number {
  let low = 0;
  let high = seconds.length - 2;
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (seconds[middle]! <= at) low = middle;
    else high = middle - 1;
  }
  return low;
}
