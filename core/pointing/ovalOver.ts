import { atan2Deg, acosDeg, cosDeg, sinDeg, turnDeg, type SkyDirection } from "../sky/angles.ts";
import { BORDER_HEIGHT_KM, elevationOverDeg, KM_PER_DEG } from "../sky/auroraGeometry.ts";
import { auroraView, type AuroraView } from "../sky/auroraView.ts";
import { antipode, bearingDeg, correctedPosition, geomagneticPole } from "../sky/geomagnetic.ts";
import { magneticFieldAt } from "../sky/magneticField.ts";
import type { Place } from "../sky/place.ts";
import type { UtcMs } from "../units.ts";

/** The quiet night's Kp that the plan speaks of. */
const QUIET_KP = 2;

/** How the oval of a quiet night stands over a place. */
export type OvalOver = Pick<AuroraView, "side" | "borderElevationDeg"> & {
  /** Toward its nearest edge. */
  readonly bearingDeg: number;
  /** Angle on the ground to that edge, degrees; 0 under the oval. */
  readonly groundDeg: number;
  /** Of the place, corrected geomagnetic, without its sign. */
  readonly latitudeDeg: number;
  /** Toward the magnetic pole of this hemisphere. */
  readonly polewardDeg: number;
  readonly magneticZenith: SkyDirection;
};

/**
 * The oval at Kp 2 as seen from a place: where its nearest edge stands.
 *
 * Sources: as `auroraView.ts`; poles, dip and declination from the World Magnetic Model.
 */
export function ovalOver(place: Place, utcMs: UtcMs): OvalOver {
  const field = magneticFieldAt(utcMs);
  const corrected = correctedPosition(field, place);
  const northPole = geomagneticPole(field);
  const polewardDeg = bearingDeg(
    place,
    corrected.latitudeDeg >= 0 ? northPole : antipode(northPole),
  );
  const view = auroraView(corrected.latitudeDeg, QUIET_KP);
  const { inclinationDeg, declinationDeg } = field.elementsAt(
    place.latitudeDeg,
    place.longitudeDeg,
  );
  return {
    side: view.side,
    borderElevationDeg: view.borderElevationDeg,
    bearingDeg: view.side === "equatorward" ? turnDeg(polewardDeg + 180) : polewardDeg,
    groundDeg: view.distanceKm / KM_PER_DEG,
    latitudeDeg: Math.abs(corrected.latitudeDeg),
    polewardDeg,
    magneticZenith: {
      // The field line rises away from the pole: southward and up in the north.
      bearingDeg: turnDeg(inclinationDeg >= 0 ? declinationDeg + 180 : declinationDeg),
      elevationDeg: Math.abs(inclinationDeg),
    },
  };
}

/** Degrees of bearing to both sides of the nearest point, and between the points of the curve. */
const CURVE_HALF_DEG = 88;
const CURVE_STEP_DEG = 2;

/**
 * The lower border of the oval's nearest edge along the sky, from left to right; empty where it stands
 * overhead or below the horizon.
 *
 * Source: the edge taken as a circle of geomagnetic latitude about the pole; spherical triangles.
 */
export function ovalCurve(oval: OvalOver): readonly SkyDirection[] {
  if (oval.side === "overhead" || oval.borderElevationDeg < 0) return [];
  const edgeDeg =
    oval.side === "poleward"
      ? oval.latitudeDeg + oval.groundDeg
      : oval.latitudeDeg - oval.groundDeg;
  const curve: SkyDirection[] = [];
  for (let turn = -CURVE_HALF_DEG; turn <= CURVE_HALF_DEG; turn += CURVE_STEP_DEG) {
    const bearing = turnDeg(oval.bearingDeg + turn);
    const groundDeg = groundToEdge(oval.latitudeDeg, edgeDeg, bearing - oval.polewardDeg);
    if (groundDeg === null) continue;
    const elevationDeg = elevationOverDeg(groundDeg * KM_PER_DEG, BORDER_HEIGHT_KM);
    if (elevationDeg > 0) curve.push({ bearingDeg: bearing, elevationDeg });
  }
  return curve;
}

/**
 * Angle on the ground along a bearing to a circle of latitude; `null`: it is not met on this side.
 *
 * From sin φ₁ = sin φ cos d + cos φ sin d cos β, solved for d.
 */
function groundToEdge(latitudeDeg: number, edgeDeg: number, fromPoleDeg: number): number | null {
  const [along, across] = [sinDeg(latitudeDeg), cosDeg(latitudeDeg) * cosDeg(fromPoleDeg)];
  const length = Math.hypot(along, across);
  const share = sinDeg(edgeDeg) / length;
  if (Math.abs(share) > 1) return null;
  const middle = atan2Deg(across, along);
  const half = acosDeg(share);
  const distances = [middle - half, middle + half].filter((angle) => angle > 0);
  return distances.length === 0 ? null : Math.min(...distances);
}
