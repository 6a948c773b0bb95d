import { asinDeg, cosDeg, sinDeg } from "../sky/angles.ts";
import { refractionDeg, trueAltitudeDeg } from "../sky/refraction.ts";
import type { Rgb } from "./colour.ts";
import type { Direction } from "../sky/direction.ts";

/** The wavelength at which a sky's extinction is stated: the green line, next to the middle of V. */
const STATED_NM = 557.7;

/**
 * Extinction by clean air at sea level there, mag an airmass. Source: Hayes and Latham 1975, 9.50e-3
 * λ⁻⁴ (λ in µm) times the change of the refractive index (from memory).
 */
const CLEAN_AIR_MAG = 0.101;

/**
 * Extinction at a wavelength, mag an airmass: clean air's λ^−4.08, and what exceeds it as haze's
 * λ^−1.3 (Ångström's exponent). Ozone's few hundredths in the orange are left out.
 *
 * @param statedMag  Of the sky at 557.7 nm.
 * Sources: Hayes and Latham 1975; Ångström 1929 (from memory).
 */
export function extinctionMagAt(wavelengthNm: number, statedMag: number): number {
  const air = Math.min(CLEAN_AIR_MAG, statedMag);
  const bluer = STATED_NM / wavelengthNm;
  return air * bluer ** 4.08 + (statedMag - air) * bluer ** 1.3;
}

/** Share of the light of a wavelength that passes an airmass. */
export function passedShare(wavelengthNm: number, statedMag: number, mass: number): number {
  return 10 ** (-0.4 * extinctionMagAt(wavelengthNm, statedMag) * mass);
}

/** Middles of the sensor's filters, nm. Common practice, no source. */
const FILTER_NM: Rgb = [610, STATED_NM, 460];

/** What the three filters see of white light that has passed an airmass; see `extinctionMagAt`. */
export function passedShares(statedMag: number, mass: number): Rgb {
  return [
    passedShare(FILTER_NM[0], statedMag, mass),
    passedShare(FILTER_NM[1], statedMag, mass),
    passedShare(FILTER_NM[2], statedMag, mass),
  ];
}

/** Where a direction without air is seen through it. */
export function lifted(direction: Direction): Direction {
  const altitudeDeg = asinDeg(direction[2]);
  return atAltitude(direction, altitudeDeg + refractionDeg(altitudeDeg));
}

/** Where what is seen in a direction would stand without air. */
export function straightened(direction: Direction): Direction {
  return atAltitude(direction, trueAltitudeDeg(asinDeg(direction[2])));
}

function atAltitude([east, north]: Direction, altitudeDeg: number): Direction {
  const across = Math.hypot(east, north);
  // Overhead the air lifts nothing, and there is no azimuth to keep.
  if (across < 1e-9) return [east, north, sinDeg(altitudeDeg)];
  const scale = cosDeg(altitudeDeg) / across;
  return [east * scale, north * scale, sinDeg(altitudeDeg)];
}
