import { lightTable, TABLE_STEPS, type ToneResponse } from "../photometry/response.ts";
import { decodeSrgb, encodeSrgb } from "../photometry/srgb.ts";

/** Where highlights begin to be bent so that white stays white, share of full light. */
const KNEE = 0.7;

/** Fixed-point scale of a gain table: 255 · 256 is white. */
export const GAIN_SCALE = 256;

/**
 * A table that multiplies the light of 8-bit codes by 2^stops, code to code.
 *
 * Linear in light up to seven tenths of white; above it a curve without a kink leads to white, so
 * that what was clipped stays clipped and nothing bright turns grey. With 0 stops every code is
 * itself.
 *
 * @param stops  Gain, stops.
 * @param response  The camera's tone curve; null: sRGB.
 * @returns 256 codes times 256, 0..65280: the fraction is for dithering.
 */
export function gainTable(stops: number, response: ToneResponse | null): Uint16Array {
  const curve = response === null ? srgbCurve() : curveOf(response);
  const gain = 2 ** stops;
  const table = new Uint16Array(256);
  for (let code = 0; code < 256; code += 1) {
    const light = bend(curve.lightOf(code), gain);
    table[code] = stops === 0 ? code * GAIN_SCALE : Math.round(curve.codeOf(light) * GAIN_SCALE);
  }
  return table;
}

/** Gain with a shoulder: slope `gain` at the foot, through (1, 1). */
function bend(light: number, gain: number): number {
  const knee = KNEE / Math.max(1, gain);
  if (light <= knee) return gain * light;
  const foot = gain * knee;
  const steepness = (gain * (1 - knee)) / (1 - foot);
  const u = (light - knee) / (1 - knee);
  return foot + ((1 - foot) * steepness * u) / (1 + (steepness - 1) * u);
}

type Curve = {
  /** Light of a code, share of white's. */
  readonly lightOf: (code: number) => number;
  /** Code of a light, with its fraction. */
  readonly codeOf: (light: number) => number;
};

function srgbCurve(): Curve {
  return {
    lightOf: (code) => decodeSrgb(code / 255),
    codeOf: (light) => 255 * encodeSrgb(light),
  };
}

function curveOf(response: ToneResponse): Curve {
  const table = lightTable(response);
  const white = table.at(-1)!;
  return {
    lightOf: (code) => table[code * TABLE_STEPS]! / white,
    codeOf: (light) => positionIn(table, light * white) / TABLE_STEPS,
  };
}

/** Where a value lies in a rising table, with its fraction. */
function positionIn(table: Float32Array, value: number): number {
  let low = 0;
  let high = table.length - 1;
  if (value <= table[low]!) return low;
  if (value >= table[high]!) return high;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (table[middle]! <= value) low = middle;
    else high = middle;
  }
  const step = table[high]! - table[low]!;
  return low + (step > 0 ? (value - table[low]!) / step : 0);
}
