/** Radians in a degree. */
export const RAD_PER_DEG = Math.PI / 180;

/** Sine of an angle in degrees. */
export function sinDeg(angleDeg: number): number {
  return Math.sin(angleDeg * RAD_PER_DEG);
}

/** Cosine of an angle in degrees. */
export function cosDeg(angleDeg: number): number {
  return Math.cos(angleDeg * RAD_PER_DEG);
}

/** Arc sine in degrees; a value just outside −1..1 by rounding counts as the end itself. */
export function asinDeg(value: number): number {
  return Math.asin(Math.min(1, Math.max(-1, value))) / RAD_PER_DEG;
}

/** Arc cosine in degrees; a value just outside −1..1 by rounding counts as the end itself. */
export function acosDeg(value: number): number {
  return Math.acos(Math.min(1, Math.max(-1, value))) / RAD_PER_DEG;
}

/** Angle of the point (x, y) from the x axis, degrees, −180..180. */
export function atan2Deg(y: number, x: number): number {
  return Math.atan2(y, x) / RAD_PER_DEG;
}

/** The same direction in 0 ≤ angle < 360. */
export function turnDeg(angleDeg: number): number {
  const turned = ((angleDeg % 360) + 360) % 360;
  return turned === 360 ? 0 : turned;
}

/** Smallest angle from one bearing to another, degrees, −180 < angle ≤ 180. */
export function turnBetweenDeg(fromDeg: number, toDeg: number): number {
  const turned = turnDeg(toDeg - fromDeg);
  return turned > 180 ? turned - 360 : turned;
}

/** A point of the sky as seen from a place. */
export type SkyDirection = {
  /** From north through east, degrees. */
  readonly bearingDeg: number;
  /** Above the level horizon, degrees. */
  readonly elevationDeg: number;
};

/** Angle between two points of the sky, degrees. Source: spherical law of cosines. */
export function separationDeg(a: SkyDirection, b: SkyDirection): number {
  return acosDeg(
    sinDeg(a.elevationDeg) * sinDeg(b.elevationDeg) +
      cosDeg(a.elevationDeg) * cosDeg(b.elevationDeg) * cosDeg(a.bearingDeg - b.bearingDeg),
  );
}

/**
 * Declination of a point of the sky seen from a latitude, degrees; the hour angle does not matter.
 * Source: Meeus, Astronomical Algorithms, 2nd ed. 1998, chapter 13 (from memory of the text).
 */
export function declinationOfDeg(direction: SkyDirection, latitudeDeg: number): number {
  return asinDeg(
    sinDeg(latitudeDeg) * sinDeg(direction.elevationDeg) +
      cosDeg(latitudeDeg) * cosDeg(direction.elevationDeg) * cosDeg(direction.bearingDeg),
  );
}
