import { MID_GREY_LUX_SECONDS_ISO, SATURATION_LUX_SECONDS_ISO } from "./exposure.ts";

/** The ceiling lies this far above mid-grey, stops. Source: 78/S over 10/S, ISO 12232. */
export const CEILING_STOPS = Math.log2(SATURATION_LUX_SECONDS_ISO / MID_GREY_LUX_SECONDS_ISO);

/** A normal deviate that 99.5 % lie below. */
const Z_995 = 2.5758;

/**
 * Spread (standard deviation of the natural logarithm) of a sky whose luminances are distributed
 * log-normally, from the ratio of their 99.5th percentile to their mean.
 *
 * @param peakRatio  ≥ 1; beyond 27 no log-normal sky has such a ratio, and the widest is given.
 */
export function lightSpreadOf(peakRatio: number): number {
  // ln p = zσ − σ²/2, its smaller root.
  const inside = Z_995 * Z_995 - 2 * Math.log(Math.max(1, peakRatio));
  return inside <= 0 ? Z_995 : Z_995 - Math.sqrt(inside);
}

/**
 * What a meter sees of a sky whose brightest parts are cut off at the ceiling.
 *
 * @param skyStops  True mean, stops from mid-grey.
 * @returns The mean of what was recorded, and the share of the sky at the ceiling.
 */
export function clipSky(
  skyStops: number,
  peakRatio: number,
): { readonly skyStops: number; readonly clippedShare: number } {
  const spread = Math.max(1e-3, lightSpreadOf(peakRatio));
  const meanOverCeiling = 2 ** (skyStops - CEILING_STOPS);
  const z = (-Math.log(meanOverCeiling) + (spread * spread) / 2) / spread;
  const clippedShare = 1 - normalShareBelow(z);
  const recorded = meanOverCeiling * normalShareBelow(z - spread) + clippedShare;
  return { skyStops: CEILING_STOPS + Math.log2(recorded), clippedShare };
}

/**
 * The true mean of a sky of which a share was cut off at the ceiling: the inverse of `clipSky`,
 * with the spread found from the share and the recorded mean together.
 *
 * @param clippedShare  0..1; with nearly all of the sky at the ceiling the answer is a lower bound.
 * @returns Stops from mid-grey, never below what was recorded, at most 3 stops above it.
 */
export function unclippedStops(skyStops: number, clippedShare: number): number {
  if (!(clippedShare > 0.001)) return skyStops;
  const share = Math.min(0.98, clippedShare);
  const z = normalDeviate(1 - share);
  const recordedOverCeiling = Math.min(0.999, 2 ** (skyStops - CEILING_STOPS));
  let narrow = 0.02;
  let wide = Z_995;
  for (let round = 0; round < 30; round += 1) {
    const spread = (narrow + wide) / 2;
    const mean = Math.exp(-z * spread + (spread * spread) / 2);
    const recorded = mean * normalShareBelow(z - spread) + share;
    // A wider sky of the same clipped share is darker below the ceiling.
    if (recorded > recordedOverCeiling) narrow = spread;
    else wide = spread;
  }
  const spread = (narrow + wide) / 2;
  const trueStops = CEILING_STOPS + (-z * spread + (spread * spread) / 2) / Math.LN2;
  return Math.min(skyStops + 3, Math.max(skyStops, trueStops));
}

/** Share of a standard normal distribution below z. Source: Abramowitz & Stegun 26.2.17, 7e-8. */
export function normalShareBelow(z: number): number {
  const t = 1 / (1 + 0.2316419 * Math.abs(z));
  const tail =
    (Math.exp((-z * z) / 2) / Math.sqrt(2 * Math.PI)) *
    t *
    (0.31938153 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))));
  return z >= 0 ? 1 - tail : tail;
}

/** Inverse of the above by bisection, within ±6. */
function normalDeviate(share: number): number {
  let low = -6;
  let high = 6;
  for (let round = 0; round < 40; round += 1) {
    const middle = (low + high) / 2;
    if (normalShareBelow(middle) < share) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}
