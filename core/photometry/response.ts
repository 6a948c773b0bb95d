import { linearOfCode, MID_GREY_CODE } from "./srgb.ts";

/**
 * A camera's tone curve as the meter knows it; plain data, kept per camera for the next night.
 *
 * The curve is held as its deviation from sRGB at knots that stand evenly in log2(code + 14), which
 * is nearly even in stops; between them it is a cubic B-spline. The deviation at code 118 is 0:
 * the absolute scale is that convention (ISO 12232: mid-grey is rendered to 118), only the shape is
 * learned.
 */
export type ToneResponse = {
  /** Deviation of log2 light from sRGB's, stops, one coefficient a knot. */
  readonly deviationStops: readonly number[];
  /** One standard deviation of the curve relative to code 118, stops, at the same knots. */
  readonly uncertaintyStops: readonly number[];
  /** Pairs of frames at different exposures that it was learned from. */
  readonly pairCount: number;
  /** True once the curve is known well enough to be trusted over the usable range. */
  readonly isSure: boolean;
};

/** Count of spline coefficients. */
export const RESPONSE_KNOTS = 15;

/** log2(code + 14) at codes 0 and 255; the quantum of sRGB is 3.46 / (code + 14) stops. */
const POSITION_MIN = Math.log2(14);
const POSITION_MAX = Math.log2(269);

/** Doubt of a curve that nothing is known of, stops; sRGB is only the usual starting point. */
const PRIOR_STOPS = 0.3;

/** The curve to start from: sRGB, and unsure. */
export function startToneResponse(): ToneResponse {
  return {
    deviationStops: new Array<number>(RESPONSE_KNOTS).fill(0),
    uncertaintyStops: Array.from({ length: RESPONSE_KNOTS }, (_, knot) => {
      const distance = Math.abs(knot - 1 - splinePosition(MID_GREY_CODE));
      return PRIOR_STOPS * Math.min(1, distance / 3);
    }),
    pairCount: 0,
    isSure: false,
  };
}

/** Where a code stands among the knots: 0 at code 0, RESPONSE_KNOTS − 3 at code 255. */
export function splinePosition(code: number): number {
  const span = RESPONSE_KNOTS - 3;
  return ((Math.log2(code + 14) - POSITION_MIN) / (POSITION_MAX - POSITION_MIN)) * span;
}

/**
 * The four B-spline weights at a position, for the coefficients `first` to `first` + 3.
 * Source: the uniform cubic B-spline (de Boor 1978).
 */
export function splineWeights(position: number): {
  first: number;
  weights: readonly [number, number, number, number];
} {
  const first = Math.min(RESPONSE_KNOTS - 4, Math.max(0, Math.floor(position)));
  const t = position - first;
  const u = 1 - t;
  return {
    first,
    weights: [
      (u * u * u) / 6,
      (3 * t * t * t - 6 * t * t + 4) / 6,
      (-3 * t * t * t + 3 * t * t + 3 * t + 1) / 6,
      (t * t * t) / 6,
    ],
  };
}

/** Slopes of the four weights at a position, per knot. */
export function splineSlopes(position: number): readonly [number, number, number, number] {
  const t = position - splineWeights(position).first;
  const u = 1 - t;
  return [-(u * u) / 2, (3 * t * t - 4 * t) / 2, (-3 * t * t + 2 * t + 1) / 2, (t * t) / 2];
}

/** A spline's value at a code (0..255, fractions allowed). */
function splineAt(coefficients: readonly number[], code: number): number {
  const { first, weights } = splineWeights(splinePosition(code));
  let value = 0;
  for (let index = 0; index < 4; index += 1)
    value += weights[index]! * coefficients[first + index]!;
  return value;
}

/**
 * Light of a code, relative to mid-grey (code 118 is 1): the inverse of the camera's tone curve.
 * Code 0 is 0.
 */
export function lightOfCode(response: ToneResponse, code: number): number {
  const deviation =
    splineAt(response.deviationStops, code) - splineAt(response.deviationStops, MID_GREY_CODE);
  return (linearOfCode(code) / linearOfCode(MID_GREY_CODE)) * 2 ** deviation;
}

/** Steps a code is divided into in a light table. */
export const TABLE_STEPS = 8;

/** `lightOfCode` at every eighth of a code, 0..255; rising strictly. */
export function lightTable(response: ToneResponse): Float32Array {
  const table = new Float32Array(255 * TABLE_STEPS + 1);
  let highest = 0;
  for (let index = 0; index < table.length; index += 1) {
    // A tone curve cannot fall; where the spline would, it is held level but for a trace.
    highest = Math.max(highest * (1 + 1e-6), lightOfCode(response, index / TABLE_STEPS));
    table[index] = highest;
  }
  return table;
}

/** One standard deviation of the curve at a code, stops. */
export function responseUncertaintyStops(response: ToneResponse, code: number): number {
  return Math.max(0, splineAt(response.uncertaintyStops, code));
}
