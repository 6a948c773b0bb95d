import geomagnetism, { type GeomagnetismModel } from "geomagnetism";

import { RAD_PER_DEG } from "./angles.ts";

/** Mean radius of the field model's sphere, km. Source: World Magnetic Model 2025 report. */
export const FIELD_RADIUS_KM = 6371.2;

/** A point or a vector in Earth-fixed axes: x to 0° E on the equator, y to 90° E, z to the north pole. */
export type Vector = readonly [x: number, y: number, z: number];

/** The Earth's main field at one date. */
export type MagneticField = {
  /** Name of the model, as in WMM-2025. */
  readonly modelName: string;
  /** False when the date lies outside the model's years and the nearest valid day was taken. */
  readonly isDateCovered: boolean;
  /** Degree of the expansion. */
  readonly degree: number;
  /** Schmidt semi-normalised coefficients, nT, index n (n + 1) / 2 + m. */
  readonly g: readonly number[];
  readonly h: readonly number[];
  /** Elements on the ground: declination and inclination, degrees; horizontal intensity, nT. */
  elementsAt(latitudeDeg: number, longitudeDeg: number): MagneticElements;
};

/** The direction of the field at a place, degrees. */
type MagneticElements = {
  /** Magnetic north from true north, east positive. */
  readonly declinationDeg: number;
  /** Dip below the horizon, positive in the north. */
  readonly inclinationDeg: number;
  readonly horizontalNt: number;
};

/** First and last moment the package's models cover; a date outside counts as the nearer one. */
const COVERED_FROM_MS = Date.UTC(2014, 11, 16);
const COVERED_TO_MS = Date.UTC(2029, 10, 12);

/**
 * The field model for a date.
 * Source: World Magnetic Model (NOAA and BGS), through the package geomagnetism 0.2.0.
 */
export function magneticFieldAt(atUtcMs: number): MagneticField {
  const coveredMs = Math.min(COVERED_TO_MS, Math.max(COVERED_FROM_MS, atUtcMs));
  const model: FieldModel = geomagnetism.model(new Date(coveredMs)) as FieldModel;
  return {
    modelName: model.name,
    isDateCovered: coveredMs === atUtcMs,
    degree: model.n_max,
    g: model.main_field_coeff_g,
    h: model.main_field_coeff_h,
    elementsAt: (latitudeDeg, longitudeDeg) => {
      const { decl, incl, h } = model.point([latitudeDeg, longitudeDeg]);
      return { declinationDeg: decl, inclinationDeg: incl, horizontalNt: h };
    },
  };
}

/** The package's typings leave this out. */
type FieldModel = GeomagnetismModel & { readonly main_field_coeff_h: number[] };

/**
 * Field vector (nT) at a point in Earth-fixed axes, km, outside the Earth.
 *
 * The package answers for geodetic points near the ground; a field line is followed through space,
 * so the expansion is summed here from its coefficients.
 * Source: the potential V = a Σ (a/r)^(n+1) Σ (g cos mφ + h sin mφ) P(cos θ) and its gradient;
 * recursions for Schmidt's functions after Langel 1987 (from memory; checked against the package).
 */
export function fieldVector(field: MagneticField, [x, y, z]: Vector): Vector {
  const radius = Math.hypot(x, y, z);
  // On the axis east has no meaning; a micrometre beside it does as well.
  const across = Math.max(Math.hypot(x, y), 1e-9);
  const [cosTheta, sinTheta] = [z / radius, across / radius];
  const [cosPhi, sinPhi] = across > 1e-9 ? [x / across, y / across] : [1, 0];
  const { up, south, east } = sumExpansion(field, {
    ratio: FIELD_RADIUS_KM / radius,
    cosTheta,
    sinTheta,
    cosPhi,
    sinPhi,
  });
  const outward = up * sinTheta + south * cosTheta;
  return [
    outward * cosPhi - east * sinPhi,
    outward * sinPhi + east * cosPhi,
    up * cosTheta - south * sinTheta,
  ];
}

function sumExpansion(
  { degree, g, h }: MagneticField,
  at: {
    readonly ratio: number;
    readonly cosTheta: number;
    readonly sinTheta: number;
    readonly cosPhi: number;
    readonly sinPhi: number;
  },
): { up: number; south: number; east: number } {
  const { ratio, cosTheta: c, sinTheta: s, cosPhi, sinPhi } = at;
  const size = ((degree + 1) * (degree + 2)) / 2;
  const p = new Float64Array(size);
  const dp = new Float64Array(size);
  p[0] = 1;
  let [up, south, east] = [0, 0, 0];
  let power = ratio * ratio;
  for (let n = 1; n <= degree; n += 1) {
    power *= ratio;
    let [cosM, sinM] = [1, 0];
    for (let m = 0; m <= n; m += 1) {
      const k = (n * (n + 1)) / 2 + m;
      if (m === n) {
        // Diagonal: P(1,1) = s, and from there the semi-normalised factor √(1 − 1/2n).
        const factor = n === 1 ? 1 : Math.sqrt(1 - 1 / (2 * n));
        const before = k - n - 1;
        p[k] = factor * s * p[before]!;
        dp[k] = factor * (s * dp[before]! + c * p[before]!);
      } else {
        const one = k - n;
        const two = k - 2 * n + 1;
        const root = Math.sqrt(n * n - m * m);
        const carry = m <= n - 2 ? Math.sqrt((n - 1) ** 2 - m * m) : 0;
        const p2 = carry === 0 ? 0 : p[two]!;
        const dp2 = carry === 0 ? 0 : dp[two]!;
        p[k] = ((2 * n - 1) * c * p[one]! - carry * p2) / root;
        dp[k] = ((2 * n - 1) * (c * dp[one]! - s * p[one]!) - carry * dp2) / root;
      }
      const term = g[k]! * cosM + h[k]! * sinM;
      up += power * (n + 1) * term * p[k]!;
      south -= power * term * dp[k]!;
      if (m > 0) east += (power * m * (g[k]! * sinM - h[k]! * cosM) * p[k]!) / s;
      [cosM, sinM] = [cosM * cosPhi - sinM * sinPhi, sinM * cosPhi + cosM * sinPhi];
    }
  }
  return { up, south, east };
}

/**
 * Earth-fixed position (km) of a point on the ground.
 * Source: WGS 84 ellipsoid, a = 6378.137 km, f = 1 / 298.257223563.
 */
export function groundPointKm(latitudeDeg: number, longitudeDeg: number): Vector {
  const flattening = 1 / 298.257223563;
  const squared = flattening * (2 - flattening);
  const sine = Math.sin(latitudeDeg * RAD_PER_DEG);
  const normal = 6378.137 / Math.sqrt(1 - squared * sine * sine);
  const across = normal * Math.cos(latitudeDeg * RAD_PER_DEG);
  return [
    across * Math.cos(longitudeDeg * RAD_PER_DEG),
    across * Math.sin(longitudeDeg * RAD_PER_DEG),
    normal * (1 - squared) * sine,
  ];
}
