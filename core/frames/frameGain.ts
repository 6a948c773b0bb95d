import { lightTable, TABLE_STEPS, type ToneResponse } from "../photometry/response.ts";
import { decodeSrgb, encodeSrgb } from "../photometry/srgb.ts";

/** Fixed-point scale of codes with their fraction: 255 · 256 is white. */
export const GAIN_SCALE = 256;

/** Multiplies the light of a picture's pixels. */
export type FrameGain = {
  /** Codes times 256 of each 8-bit code: right for pixels whose three codes are below `plainBelow`. */
  readonly table: Uint16Array;
  readonly plainBelow: number;
  /** The three codes times 256 of any pixel, written to `into`. */
  readonly pixel: (red: number, green: number, blue: number, into: Uint16Array) => void;
};

/** Where highlights begin to roll off, share of full light. */
export const HIGHLIGHT_KNEE = 0.9;

/** A pixel whose weakest channel is between these has lost its own light: it is white, and stays so. */
const WHITE_FROM = 0.85;
const WHITE = 0.99;

/**
 * The gain that multiplies the linear light of 8-bit codes by 2^stops.
 *
 * A pixel is multiplied as a whole, so its hue stays. What would shine beyond nine tenths of white
 * rolls off by its strongest channel, all three alike. Light is never stretched: a picture that is
 * lowered keeps its edges, and only what was white in all three channels, whose light nobody knows,
 * stays white. With 0 stops every code is itself.
 *
 * @param stops  Gain, stops.
 * @param response  The camera's tone curve; null: sRGB.
 */
export function frameGain(stops: number, response: ToneResponse | null): FrameGain {
  const curve = response === null ? srgbCurve() : curveOf(response);
  const gain = 2 ** stops;
  const lights = Float64Array.from({ length: 256 }, (_, code) => curve.lightOf(code));
  if (stops === 0) {
    const table = Uint16Array.from(lights, (_, code) => code * GAIN_SCALE);
    return { table, plainBelow: 256, pixel: (r, g, b, into) => into.set([r, g, b].map(scaled)) };
  }
  const code = inverseOf(curve);
  const limit = Math.min(HIGHLIGHT_KNEE / gain, WHITE_FROM);
  const bright = lights.findIndex((light) => light > limit);
  return {
    table: Uint16Array.from(lights, (light) => code(Math.min(1, gain * light))),
    plainBelow: bright < 0 ? 256 : bright,
    pixel: (red, green, blue, into) => {
      const [r, g, b] = [lights[red]!, lights[green]!, lights[blue]!];
      const most = gain * Math.max(r, g, b);
      const scale = gain * (most > HIGHLIGHT_KNEE ? rolledOff(most) / most : 1);
      const part = (Math.min(r, g, b) - WHITE_FROM) / (WHITE - WHITE_FROM);
      const share = gain < 1 ? Math.min(1, Math.max(0, part)) : 0;
      const white = share * share * (3 - 2 * share);
      into[0] = code(r * (scale + (1 - scale) * white));
      into[1] = code(g * (scale + (1 - scale) * white));
      into[2] = code(b * (scale + (1 - scale) * white));
    },
  };
}

const scaled = (code: number): number => code * GAIN_SCALE;

/** Light beyond the knee, led to white without a kink. */
function rolledOff(light: number): number {
  const room = 1 - HIGHLIGHT_KNEE;
  return HIGHLIGHT_KNEE + room * (1 - Math.exp(-(light - HIGHLIGHT_KNEE) / room));
}

/** Entries of the way back from light to code, even in the square root of light. */
const INVERSE_STEPS = 4096;

/** Codes times 256 of light 0..1, by a table: pixels are many. */
function inverseOf(curve: Curve): (light: number) => number {
  const table = Float64Array.from({ length: INVERSE_STEPS + 2 }, (_, step) =>
    curve.codeOf(Math.min(1, (step / INVERSE_STEPS) ** 2)),
  );
  return (light) => {
    const at = Math.sqrt(light) * INVERSE_STEPS;
    const step = Math.floor(at);
    const code = table[step]! + (at - step) * (table[step + 1]! - table[step]!);
    return Math.round(code * GAIN_SCALE);
  };
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
