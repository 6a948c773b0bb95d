import { RAD_PER_DEG } from "./angles.ts";

/** The air at the place; it bends light the more the denser it is. */
export type Air = {
  readonly pressureHpa: number;
  readonly temperatureC: number;
};

/** The air that the refraction's formula is given for. */
const STANDARD_AIR: Air = { pressureHpa: 1010, temperatureC: 10 };

/** Pressure falls by a factor of e in so many metres. Common practice, no source. */
const SCALE_HEIGHT_M = 8400;

/** Air of which only the height above the sea is known: 0 °C. */
export function airAt(elevationM: number): Air {
  return { pressureHpa: 1010 * Math.exp(-elevationM / SCALE_HEIGHT_M), temperatureC: 0 };
}

/**
 * How far the air lifts what stands at a true altitude, degrees; 0 below −2°, where nothing is seen.
 *
 * Accuracy: 0.1′ above 15°, a few per cent of it near the horizon, where weather decides.
 * Source: Saemundsson 1986, after Meeus, Astronomical Algorithms, ch. 16 (from memory): 1010 hPa and
 * 10 °C; 28.98′ on the true horizon.
 */
export function refractionDeg(trueAltitudeDeg: number, air: Air = STANDARD_AIR): number {
  if (trueAltitudeDeg < -2) return 0;
  const altitude = Math.min(90, trueAltitudeDeg);
  const standard = 1.02 / 60 / Math.tan((altitude + 10.3 / (altitude + 5.11)) * RAD_PER_DEG);
  return Math.max(0, standard) * (air.pressureHpa / 1010) * (283 / (273 + air.temperatureC));
}

/**
 * The true altitude of what is seen at an apparent one, degrees: the inverse of `refractionDeg`, to
 * 0.1″ from the horizon up.
 */
export function trueAltitudeDeg(apparentAltitudeDeg: number): number {
  let altitude = apparentAltitudeDeg;
  // The lift changes by a fifth of a change in altitude at the most: each round is five times nearer.
  for (let round = 0; round < 8; round += 1) {
    altitude = apparentAltitudeDeg - refractionDeg(altitude);
  }
  return altitude;
}
