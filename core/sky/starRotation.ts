import { MakeTime, Observer, Rotation_EQJ_HOR } from "astronomy-engine";

import type { UtcMs } from "../units.ts";
import type { Direction, Rotation } from "./direction.ts";

/** Days of 2000-01-01T12:00 since 1970, in milliseconds. By definition of J2000 (UT). */
export const J2000_UTC_MS = 946_728_000_000;

/**
 * The turn of the stars over a place: from the equator of J2000 to east, north and up. Precession
 * and nutation are in it, aberration and refraction are not. Source: astronomy-engine.
 */
export function starRotation(
  place: { readonly latitudeDeg: number; readonly longitudeDeg: number },
  utcMs: UtcMs,
): Rotation {
  const time = MakeTime((utcMs - J2000_UTC_MS) / 86_400_000);
  const { rot } = Rotation_EQJ_HOR(time, new Observer(place.latitudeDeg, place.longitudeDeg, 0));
  // The package's matrices are turned by columns: out[i] = Σ rot[j][i] · in[j]; its horizon axes
  // are north, west and up.
  const row = (index: number, sign: number): Direction => [
    sign * rot[0]![index]!,
    sign * rot[1]![index]!,
    sign * rot[2]![index]!,
  ];
  return [row(1, -1), row(0, 1), row(2, 1)];
}
