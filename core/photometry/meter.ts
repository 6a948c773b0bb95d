import { luminanceCdM2Of, type Exposure } from "../exposure/exposure.ts";
import type { MonotonicMs } from "../units.ts";
import { reduceToCells, type CellGrid } from "./cells.ts";
import { findPointCells, lightMapOf, type LightMap } from "./lightMap.ts";
import type { Reading } from "./reading.ts";
import {
  lightTable,
  responseUncertaintyStops,
  startToneResponse,
  type ToneResponse,
} from "./response.ts";
import { encodeSrgb, linearOfCode, MID_GREY_CODE } from "./srgb.ts";

/** What the meter is told of the camera before the first frame. */
export type MeterOptions = {
  readonly focalLengthMm: number;
  /** Pixel pitch of the full-size frame. */
  readonly pixelPitchUm: number;
  /** Width of the full-size frame; speeds are given in its pixels. */
  readonly fullWidthPx: number;
};

/** What the meter remembers from frame to frame; immutable. */
export type MeterState = {
  readonly options: MeterOptions;
  readonly response: ToneResponse;
  /** Light of every eighth of a code, by the response. */
  readonly table: Float32Array;
  readonly frameCount: number;
};

/** One decoded frame, upright. */
export type MeterFrame = {
  readonly widthPx: number;
  readonly heightPx: number;
  /** sRGB, three bytes a pixel, row by row. */
  readonly rgb: Uint8Array;
  /** The exposure that happened. */
  readonly exposure: Exposure;
  readonly openedMs: MonotonicMs;
};

/** A meter before its first frame. @param response  What an earlier night learned of this camera. */
export function startMeter(
  options: MeterOptions,
  response: ToneResponse = startToneResponse(),
): MeterState {
  return { options, response, table: lightTable(response), frameCount: 0 };
}

/** Meters one frame. Frames come in the order in which they were taken. */
export function meterFrame(
  state: MeterState,
  frame: MeterFrame,
): { reading: Reading; state: MeterState } {
  const grid = reduceToCells(frame.widthPx, frame.heightPx, frame.rgb);
  const light = lightMapOf(grid, state.table);
  const isPoint = findPointCells(light);
  const isSky = Uint8Array.from(isPoint, (point) => 1 - point);
  const sky = measureSky(grid, light, isSky);
  const remarks: string[] = [];
  if (!state.response.isSure) remarks.push("tone curve not yet sure");
  const skyStops = Math.log2(sky.mean);
  const code = 255 * encodeSrgb(sky.mean * linearOfCode(MID_GREY_CODE));
  const reading: Reading = {
    skyStops,
    uncertaintyStops: Math.hypot(0.01, responseUncertaintyStops(state.response, code)),
    skyLuminanceCdM2: luminanceCdM2Of(skyStops, frame.exposure),
    peakRatio: sky.peak / sky.mean,
    clippedShare: sky.clippedShare,
    skyShare: sky.count / isSky.length,
    histogram: sky.histogram,
    motion: { kind: "unknown", why: "motion is not measured yet" },
    starWidthPx: null,
    starCount: 0,
    remarks,
  };
  return { reading, state: { ...state, frameCount: state.frameCount + 1 } };
}

/** The darkest sky that is told from black: half a code. */
const DARKEST = linearOfCode(0.5) / linearOfCode(MID_GREY_CODE);

function measureSky(grid: CellGrid, light: LightMap, isSky: Uint8Array) {
  const histogram = new Array<number>(64).fill(0);
  const values = new Float32Array(isSky.length);
  let count = 0;
  let sum = 0;
  let red = 0;
  let green = 0;
  let blue = 0;
  for (let cell = 0; cell < isSky.length; cell += 1) {
    if (isSky[cell] === 0) continue;
    const luminance = light.luminance[cell]!;
    values[count] = luminance;
    count += 1;
    sum += luminance;
    red += grid.clippedRed[cell]!;
    green += grid.clippedGreen[cell]!;
    blue += grid.clippedBlue[cell]!;
    const code = 0.2126 * grid.red[cell]! + 0.7152 * grid.green[cell]! + 0.0722 * grid.blue[cell]!;
    histogram[code >> 2]! += 1;
  }
  const pixels = Math.max(1, count * grid.cellPx ** 2);
  const mean = Math.max(DARKEST, sum / Math.max(1, count));
  const sorted = values.subarray(0, count).sort();
  return {
    count,
    mean,
    peak: Math.max(mean, sorted[Math.floor((count - 1) * 0.995)] ?? 0),
    histogram,
    clippedShare: { red: red / pixels, green: green / pixels, blue: blue / pixels },
  };
}
