import { cosDeg, RAD_PER_DEG } from "../sky/angles.ts";

/** How long an exposure may be before stars trail. */

/**
 * Apparent rotation of the sky, arcseconds a second: 360° in one sidereal day of 86,164.0905 s.
 * Source: sidereal day, IERS; from memory.
 */
export const SIDEREAL_ARCSEC_PER_SECOND = (360 * 3600) / 86164.0905;

/** Arcseconds in one radian. */
const ARCSEC_PER_RADIAN = 3600 / RAD_PER_DEG;

/** What decides how long a star's trail is on the frame. */
type TrailOptics = {
  readonly focalLengthMm: number;
  /** Pixel pitch of the full-size frame: sensor width over image width. */
  readonly pixelPitchUm: number;
  /** Declination of the framed sky; 0 (the default) is the fastest. */
  readonly declinationDeg?: number;
};

/** Longest exposure (s) in which a star near the axis drifts at most `toleratedPx`. */
export function trailLimitSeconds(toleratedPx: number, optics: TrailOptics): number {
  return toleratedPx / trailPxPerSecond(optics);
}

function trailPxPerSecond(optics: TrailOptics): number {
  const { focalLengthMm, pixelPitchUm, declinationDeg = 0 } = optics;
  const radiansPerSecond =
    (SIDEREAL_ARCSEC_PER_SECOND * cosDeg(declinationDeg)) / ARCSEC_PER_RADIAN;
  return (radiansPerSecond * focalLengthMm * 1000) / pixelPitchUm;
}

/**
 * Longest exposure (s) by the simplified NPF formula, (35 N + 30 p) / f.
 * Source: F. Michaud, Société Astronomique du Havre, by way of independent restatements.
 */
export function npfSimpleSeconds(fNumber: number, optics: TrailOptics): number {
  return (35 * fNumber + 30 * optics.pixelPitchUm) / optics.focalLengthMm;
}

/**
 * Longest exposure (s) by the full NPF formula, k (16.9 N + 0.1 f + 13.7 p) / (f cos δ).
 * Infinite at the pole. Source: as above.
 *
 * @param tolerance  k: 1 strict, 2 about the simplified formula, 3 tolerant.
 */
export function npfSeconds(fNumber: number, optics: TrailOptics, tolerance = 1): number {
  const { focalLengthMm, pixelPitchUm, declinationDeg = 0 } = optics;
  const cosDeclination = cosDeg(declinationDeg);
  const strict = 16.9 * fNumber + 0.1 * focalLengthMm + 13.7 * pixelPitchUm;
  if (cosDeclination < 1e-9) return Infinity;
  return (tolerance * strict) / (focalLengthMm * cosDeclination);
}

/** Longest exposure (s) by the trade's quick rule, 500 / (f · crop). Common practice, no source. */
export function rule500Seconds(focalLengthMm: number, cropFactor = 1): number {
  return 500 / (focalLengthMm * cropFactor);
}
