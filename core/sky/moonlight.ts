import { cosDeg, separationDeg, sinDeg, type SkyDirection } from "./angles.ts";

/**
 * Airmass for scattered light at a zenith distance in degrees; below the horizon that of the horizon.
 * Source: Krisciunas and Schaefer 1991, PASP 103:1033, eq. 3.
 */
function scatteringAirmass(zenithDistanceDeg: number): number {
  const sine = sinDeg(Math.min(90, Math.max(0, zenithDistanceDeg)));
  return (1 - 0.96 * sine * sine) ** -0.5;
}

/**
 * Natural sky away from the zenith over that at the zenith, as a factor: the airglow layer is seen
 * at a slant, and the air takes more.
 * Source: Krisciunas and Schaefer 1991, eq. 2 (from memory of the equation).
 */
export function naturalSkyFactor(zenithDistanceDeg: number, extinctionMag: number): number {
  const airmass = scatteringAirmass(zenithDistanceDeg);
  return 10 ** (-0.4 * extinctionMag * (airmass - 1)) * airmass;
}

/**
 * Brightness that the Moon's scattered light adds to a point of the sky, nanolamberts.
 *
 * @param phaseAngleDeg  0 full, 180 new. Within 7° of full the Moon may be up to 35 % brighter.
 * @param moon  Zero is returned while it stands below the horizon.
 * @returns 0 for a point below the horizon. Accuracy 8 to 23 % (the paper's abstract).
 * Source: Krisciunas and Schaefer 1991, PASP 103:1033, eqs 8, 9, 15, 20, 21. Nearer than 10° to
 * the Moon its Mie term 6.2e7 ρ⁻² is used (from memory); nearer than 1° the value of 1° is kept.
 */
export function moonlightNanolambert(options: {
  readonly phaseAngleDeg: number;
  readonly moon: SkyDirection;
  readonly towards: SkyDirection;
  readonly extinctionMag: number;
}): number {
  const { phaseAngleDeg, moon, towards, extinctionMag } = options;
  if (moon.elevationDeg <= 0 || towards.elevationDeg < 0) return 0;
  const alpha = Math.abs(phaseAngleDeg);
  const footCandles = 10 ** (-0.4 * (3.84 + 0.026 * alpha + 4e-9 * alpha ** 4));
  const moonAirmass = scatteringAirmass(90 - moon.elevationDeg);
  const skyAirmass = scatteringAirmass(90 - towards.elevationDeg);
  return (
    scatteringFunction(separationDeg(moon, towards)) *
    footCandles *
    10 ** (-0.4 * extinctionMag * moonAirmass) *
    (1 - 10 ** (-0.4 * extinctionMag * skyAirmass))
  );
}

function scatteringFunction(separation: number): number {
  const rayleigh = 10 ** 5.36 * (1.06 + cosDeg(separation) ** 2);
  const near = Math.max(1, separation);
  return rayleigh + (near < 10 ? 6.2e7 / near ** 2 : 10 ** (6.15 - near / 40));
}
