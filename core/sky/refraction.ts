import { RAD_PER_DEG } from "./angles.ts";

/**
 * How far the air lifts what stands at a true altitude, degrees; 0 below −2°, where nothing is seen.
 *
 * Source: Saemundsson 1986, after Meeus, Astronomical Algorithms, ch. 16 (from memory): 1010 hPa and
 * 10 °C; 28.98′ on the true horizon.
 */
export function refractionDeg(trueAltitudeDeg: number): number {
  if (trueAltitudeDeg < -2) return 0;
  const altitude = Math.min(90, trueAltitudeDeg);
  return Math.max(0, 1.02 / 60 / Math.tan((altitude + 10.3 / (altitude + 5.11)) * RAD_PER_DEG));
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
