import { RAD_PER_DEG } from "./angles.ts";

/** A direction from the place: a unit vector to the east, the north and up. */
export type Direction = readonly [east: number, north: number, up: number];

/** A rotation row by row: the first row gives the first part of what comes out, and so on. */
export type Rotation = readonly [Direction, Direction, Direction];

/** The unit vector of an azimuth (from north through east) and an altitude, degrees. */
export function directionOf(azimuthDeg: number, altitudeDeg: number): Direction {
  const across = Math.cos(altitudeDeg * RAD_PER_DEG);
  return [
    across * Math.sin(azimuthDeg * RAD_PER_DEG),
    across * Math.cos(azimuthDeg * RAD_PER_DEG),
    Math.sin(altitudeDeg * RAD_PER_DEG),
  ];
}

/** Inner product of two directions: the cosine of the angle between them. */
export function dot(a: Direction, b: Direction): number {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

/** A direction turned by a rotation. */
export function rotated(rotation: Rotation, direction: Direction): Direction {
  return [dot(rotation[0], direction), dot(rotation[1], direction), dot(rotation[2], direction)];
}

/** The direction at right angles to two others, by the right hand; not of length 1 unless they are square. */
export function cross(a: Direction, b: Direction): Direction {
  return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
}

/** The unit vector along a vector. */
export function unit([x, y, z]: Direction): Direction {
  const length = Math.hypot(x, y, z);
  return [x / length, y / length, z / length];
}
