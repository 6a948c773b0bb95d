import type { Exposure } from "../../core/exposure/exposure.ts";

/**
 * APEX arithmetic: every quantity of an exposure in stops, Ev = Av + Tv = Bv + Sv.
 * Source: Exif 2.3 Annex C. Two constants for Sv are in use; this is log2(S / 3.125), with which
 * ISO 100 is exactly 5 (the other one lies 0.106 lower).
 */

/** Aperture value of an f-number. */
export function apertureValue(fNumber: number): number {
  return 2 * Math.log2(fNumber);
}

/** Time value of an exposure in seconds. */
export function timeValue(exposureSeconds: number): number {
  return -Math.log2(exposureSeconds);
}

/** Speed value of an arithmetic ISO sensitivity. */
export function speedValue(iso: number): number {
  return Math.log2(iso / 3.125);
}

/** Ev = Av + Tv of an exposure, without its sensitivity. */
export function exposureValue(exposure: Exposure): number {
  return apertureValue(exposure.fNumber) + timeValue(exposure.exposureSeconds);
}

/**
 * Exposure value at ISO 100 of a scene of this luminance, by a reflected-light meter with K = 12.5.
 * Source: ISO 2720:1974 (K may be 10.6 to 13.4; 12.5 is the usual pick), from memory.
 */
export function sceneExposureValue100(luminanceCdM2: number): number {
  return Math.log2((luminanceCdM2 * 100) / 12.5);
}
