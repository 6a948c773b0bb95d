import { lightOfCode, type ToneResponse } from "../photometry/response.ts";
import { LUMINANCE_WEIGHTS, linearOfCode } from "../photometry/srgb.ts";
import { HIGHLIGHT_KNEE } from "./frameGain.ts";

/** Cells over the picture: enough to tell aurora from what the camera did. */
const CELL_COLUMNS = 12;
const CELL_ROWS = 8;

/** A code that counts as clipped. */
const CLIPPED_CODE = 252;

/** A cell with more of its pixels clipped than this is no measure, share. */
const CLIPPED_SHARE_MAX = 0.02;

/** Mean codes below this are mostly quantisation. */
const DARK_CODE = 6;

/**
 * So much of a picture may roll off before a gain spoils it: with 1 %, the 99th percentile of the
 * colour difference from a frame that was taken so is 2 to 3 (CIEDE2000), with 4 % it is 10.
 */
const ROLLED_OFF_SHARE = 0.01;

/** What delivering learns of one frame's pixels. */
export type FrameMeasure = {
  readonly widthPx: number;
  readonly heightPx: number;
  /** log2 of each cell's mean linear luminance, row by row; null: too dark or clipped. */
  readonly cellStops: readonly (number | null)[];
  /** log2 of the mean linear luminance of the whole picture. */
  readonly meanStops: number;
  /** Pixels with a channel at the ceiling, 0..1. */
  readonly clippedShare: number;
  /**
   * By how much the picture may be lifted until its highlights, but for the brightest hundredth of
   * what is not clipped, roll off; stops, ≥ 0.
   */
  readonly highlightRoomStops: number;
  /** Unevenness of the picture's light from cell to cell, stops RMS: arcs and rays against a plain sky. */
  readonly structure: number;
  /** Saturation, brighter cells counting more, 0..1. */
  readonly colour: number;
  /** Fine contrast, over what the neighbouring noise gives: higher is sharper. */
  readonly sharpness: number;
};

/**
 * Measures a picture of interleaved RGB codes.
 *
 * @param rgb  widthPx · heightPx · 3 codes.
 * @param response  The camera's tone curve; null: sRGB.
 */
export function measurePixels(
  rgb: Uint8Array,
  widthPx: number,
  heightPx: number,
  response: ToneResponse | null,
): FrameMeasure {
  const light = Float64Array.from({ length: 256 }, (_, code) =>
    response === null ? linearOfCode(code) : lightOfCode(response, code) * linearOfCode(118),
  );
  const sums = new Float64Array(CELL_COLUMNS * CELL_ROWS * 3);
  const counts = new Float64Array(CELL_COLUMNS * CELL_ROWS);
  const clipped = new Float64Array(CELL_COLUMNS * CELL_ROWS);
  const strongest = new Uint32Array(256);
  for (let y = 0; y < heightPx; y += 1) {
    const row = Math.floor((y * CELL_ROWS) / heightPx) * CELL_COLUMNS;
    for (let column = 0; column < CELL_COLUMNS; column += 1) {
      const from = Math.ceil((column * widthPx) / CELL_COLUMNS);
      const to = Math.ceil(((column + 1) * widthPx) / CELL_COLUMNS);
      let [red, green, blue, ceiling] = [0, 0, 0, 0];
      const end = (y * widthPx + to) * 3;
      for (let at = (y * widthPx + from) * 3; at < end; at += 3) {
        const [r, g, b] = [rgb[at]!, rgb[at + 1]!, rgb[at + 2]!];
        red += light[r]!;
        green += light[g]!;
        blue += light[b]!;
        const most = r > g ? (r > b ? r : b) : g > b ? g : b;
        strongest[most]! += 1;
        if (most >= CLIPPED_CODE) ceiling += 1;
      }
      const cell = row + column;
      sums[3 * cell]! += red;
      sums[3 * cell + 1]! += green;
      sums[3 * cell + 2]! += blue;
      counts[cell]! += to - from;
      clipped[cell]! += ceiling;
    }
  }
  return summarise({ sums, counts, clipped, strongest, rgb, widthPx, heightPx, light });
}

type Sums = {
  readonly sums: Float64Array;
  readonly counts: Float64Array;
  readonly clipped: Float64Array;
  /** Pixels by the code of their strongest channel. */
  readonly strongest: Uint32Array;
  readonly rgb: Uint8Array;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly light: Float64Array;
};

function summarise(input: Sums): FrameMeasure {
  const { sums, counts, clipped, widthPx, heightPx, light } = input;
  const { red, green, blue } = LUMINANCE_WEIGHTS;
  const luminance = Array.from(counts, (count, cell) =>
    count === 0
      ? 0
      : (red * sums[3 * cell]! + green * sums[3 * cell + 1]! + blue * sums[3 * cell + 2]!) / count,
  );
  const cellStops = luminance.map((value, cell) =>
    value < light[DARK_CODE]! || clipped[cell]! / counts[cell]! > CLIPPED_SHARE_MAX
      ? null
      : Math.log2(value),
  );
  const pixelCount = widthPx * heightPx;
  const total = luminance.reduce((sum, value, cell) => sum + value * counts[cell]!, 0);
  const clippedCount = clipped.reduce((sum, value) => sum + value, 0);
  return {
    widthPx,
    heightPx,
    cellStops,
    meanStops: Math.log2(Math.max(total / pixelCount, 1e-9)),
    clippedShare: clippedCount / pixelCount,
    highlightRoomStops: highlightRoomStops(input.strongest, light),
    structure: structureOf(luminance),
    colour: colourOf(sums, counts, luminance),
    sharpness: sharpnessOf(input),
  };
}

function highlightRoomStops(strongest: Uint32Array, light: Float64Array): number {
  const whole = strongest.subarray(0, CLIPPED_CODE);
  const allowed = ROLLED_OFF_SHARE * whole.reduce((sum, count) => sum + count, 0);
  let code = CLIPPED_CODE - 1;
  for (let above = whole[code]!; above <= allowed && code > 1; above += whole[code]!) code -= 1;
  return Math.max(0, Math.log2((HIGHLIGHT_KNEE * light[255]!) / light[code]!));
}

/** RMS difference of neighbouring cells, stops; black foreground differs from nothing. */
function structureOf(luminance: readonly number[]): number {
  const floor = 1e-3;
  let sum = 0;
  let count = 0;
  const add = (a: number, b: number): void => {
    const [one, other] = [luminance[a]!, luminance[b]!];
    if (one < floor || other < floor) return;
    sum += Math.log2(one / other) ** 2;
    count += 1;
  };
  for (let cell = 0; cell < luminance.length; cell += 1) {
    if (cell % CELL_COLUMNS < CELL_COLUMNS - 1) add(cell, cell + 1);
    if (cell + CELL_COLUMNS < luminance.length) add(cell, cell + CELL_COLUMNS);
  }
  return count === 0 ? 0 : Math.sqrt(sum / count);
}

/** Mean saturation, each cell counting by its light: what the eye goes to. */
function colourOf(sums: Float64Array, counts: Float64Array, luminance: readonly number[]): number {
  let sum = 0;
  let weights = 0;
  for (const [cell, value] of luminance.entries()) {
    const channels = [sums[3 * cell]!, sums[3 * cell + 1]!, sums[3 * cell + 2]!];
    const strongest = Math.max(...channels);
    if (strongest <= 0 || counts[cell] === 0) continue;
    sum += (value * (strongest - Math.min(...channels))) / strongest;
    weights += value;
  }
  return weights === 0 ? 0 : sum / weights;
}

/**
 * Contrast of green between neighbouring pixels against that between pixels four apart, over the
 * middle of the picture: blur takes the first and leaves the second.
 */
function sharpnessOf({ rgb, widthPx, heightPx, light }: Sums): number {
  let near = 0;
  let far = 0;
  const stride = widthPx * 3;
  for (let y = Math.floor(heightPx / 4); y < (heightPx * 3) / 4 - 1; y += 2) {
    for (let x = Math.floor(widthPx / 4); x < (widthPx * 3) / 4 - 4; x += 3) {
      const at = y * stride + x * 3 + 1;
      const here = light[rgb[at]!]!;
      near += (light[rgb[at + 3]!]! - here) ** 2;
      far += (light[rgb[at + 12]!]! - here) ** 2;
    }
  }
  return far === 0 ? 0 : near / far;
}
