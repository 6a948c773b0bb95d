import { acosDeg, atan2Deg, cosDeg, sinDeg } from "./angles.ts";

/** Mean radius of the Earth, km. Source: IUGG. */
export const EARTH_RADIUS_KM = 6371;

/**
 * Heights of the aurora that the plan speaks of, km: the green lower border, and red tops.
 * Source: Chamberlain 1961; Vallance Jones 1974 (from memory).
 */
export const BORDER_HEIGHT_KM = 110;
/** Height of red tops, km; source as for `BORDER_HEIGHT_KM`. */
export const TOP_HEIGHT_KM = 250;

/** Length of a degree of latitude on the sphere, km. */
export const KM_PER_DEG = (2 * Math.PI * EARTH_RADIUS_KM) / 360;

/**
 * Elevation above the horizon of something at a height over a point this far away, degrees;
 * negative below the horizon, 90 overhead. Plain geometry on the sphere, without refraction.
 */
export function elevationOverDeg(groundKm: number, heightKm: number): number {
  const angleDeg = groundKm / KM_PER_DEG;
  return atan2Deg(
    cosDeg(angleDeg) - EARTH_RADIUS_KM / (EARTH_RADIUS_KM + heightKm),
    sinDeg(angleDeg),
  );
}

/** Ground distance (km) of something at a height seen at an elevation of 0..90°; inverse of the above. */
export function groundKmOf(elevationDeg: number, heightKm: number): number {
  const ratio = EARTH_RADIUS_KM / (EARTH_RADIUS_KM + heightKm);
  return (acosDeg(ratio * cosDeg(elevationDeg)) - elevationDeg) * KM_PER_DEG;
}

/** Distance along the line of sight to the same, km. */
export function slantKmOf(elevationDeg: number, heightKm: number): number {
  const angleDeg = groundKmOf(elevationDeg, heightKm) / KM_PER_DEG;
  const top = EARTH_RADIUS_KM + heightKm;
  return Math.sqrt(EARTH_RADIUS_KM ** 2 + top ** 2 - 2 * EARTH_RADIUS_KM * top * cosDeg(angleDeg));
}
