import { turnDeg } from "./angles.ts";
import { subsolarPoint } from "./ephemeris.ts";
import { axisOf, dipoleLongitudeDeg, geomagneticPole } from "./geomagnetic.ts";
import type { MagneticField } from "./magneticField.ts";

/**
 * Magnetic local time, hours 0 ≤ h < 24: the place's magnetic longitude from that of the Sun, so
 * that 12 h faces the Sun. Near 0 h the oval comes farthest toward the equator.
 *
 * @param magneticLongitudeDeg  Of the place's field line, as `correctedPosition` gives it.
 * Source: Laundal and Richmond 2017, Space Sci. Rev. 206:27, centred-dipole definition of the
 * Sun's longitude (from memory of the paper).
 */
export function magneticLocalTimeHours(
  atUtcMs: number,
  magneticLongitudeDeg: number,
  field: MagneticField,
): number {
  const { latitudeDeg, longitudeDeg } = subsolarPoint(atUtcMs);
  const sun = axisOf({ latitudeDeg, longitudeDeg });
  const sunLongitudeDeg = dipoleLongitudeDeg(sun, axisOf(geomagneticPole(field)));
  return turnDeg(magneticLongitudeDeg - sunLongitudeDeg + 180) / 15;
}

/** The moment nearest to `aroundUtcMs` at which magnetic local time is 0 h, to a minute. */
export function magneticMidnightUtcMs(
  aroundUtcMs: number,
  magneticLongitudeDeg: number,
  field: MagneticField,
): number {
  let atMs = aroundUtcMs;
  // Magnetic time runs unevenly, by an hour at most; a few corrections settle it.
  for (let pass = 0; pass < 6; pass += 1) {
    const hours = magneticLocalTimeHours(atMs, magneticLongitudeDeg, field);
    atMs -= (hours > 12 ? hours - 24 : hours) * 3_600_000;
  }
  return atMs;
}
