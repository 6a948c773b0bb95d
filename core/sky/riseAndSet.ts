import { asinDeg } from "./angles.ts";
import { crossingsOf, type Crossing, type Stretch } from "./crossings.ts";
import { moonPosition, sunPosition, type PositionWithDistance } from "./ephemeris.ts";
import type { Place } from "./place.ts";

/** A body that rises and sets by the almanac. */
export type RisingBody = "sun" | "moon";

/**
 * Refraction on the horizon, degrees: 34′. By the almanac's definition of rise and set.
 * Source: Meeus, Astronomical Algorithms, 2nd ed. 1998, chapter 15 (from memory).
 */
const HORIZON_REFRACTION_DEG = 34 / 60;

/** The Sun's half diameter as the almanac takes it, degrees: 16′. Source: as above. */
const SUN_HALF_DEG = 16 / 60;

/** Altitude of the Sun's centre without air at its rise and set: −50′. By the almanac's definition. */
export const SUN_RISE_ALTITUDE_DEG = -(HORIZON_REFRACTION_DEG + SUN_HALF_DEG);

/** The Moon's half diameter over the Earth's half diameter. Source: Meeus, chapter 55 (from memory). */
const MOON_OVER_EARTH = 0.2725;

/** The Earth's half diameter at the equator, km. Source: IAU 1976. */
const EARTH_EQUATOR_KM = 6378.14;

/**
 * How high a body's upper limb stands over the horizon as it is seen, degrees: 0 at rise and set.
 * Refraction is the almanac's 34′ at any altitude; the dip of the horizon is not in it.
 */
export function upperLimbDeg(body: RisingBody, atMs: number, place: Place): number {
  if (body === "sun") {
    return sunPosition(atMs, place).altitudeDeg - SUN_RISE_ALTITUDE_DEG;
  }
  const moon = moonPosition(atMs, place);
  return moon.altitudeDeg + moonHalfDeg(moon) + HORIZON_REFRACTION_DEG;
}

/** The Moon's half diameter as seen from the place, degrees. */
function moonHalfDeg({ distanceKm }: PositionWithDistance): number {
  return asinDeg((MOON_OVER_EARTH * EARTH_EQUATOR_KM) / distanceKm);
}

/** Every rise and set of a body in a stretch, in order. */
export function risesAndSets(
  body: RisingBody,
  place: Place,
  stretch: Stretch,
): readonly Crossing[] {
  return crossingsOf((atMs) => upperLimbDeg(body, atMs, place), 0, stretch);
}

const DAY_MS = 86_400_000;

/** The next rise of a body within a day, and where on the horizon; `null`: there is none. */
export function nextRise(
  body: RisingBody,
  place: Place,
  fromMs: number,
): { readonly atMs: number; readonly azimuthDeg: number } | null {
  const rise = risesAndSets(body, place, { startMs: fromMs, endMs: fromMs + DAY_MS }).find(
    ({ direction }) => direction === "rising",
  );
  if (rise === undefined) return null;
  const position = body === "sun" ? sunPosition : moonPosition;
  return { atMs: rise.atMs, azimuthDeg: position(rise.atMs, place).azimuthDeg };
}
