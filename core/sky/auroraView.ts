import { BORDER_HEIGHT_KM, elevationOverDeg, KM_PER_DEG, TOP_HEIGHT_KM } from "./auroraGeometry.ts";
import { kpBoundaryDeg, ovalEdges } from "./kpBoundary.ts";

/** Where aurora stands for a place at one Kp, about magnetic midnight. */
export type AuroraView = {
  readonly kp: number;
  /** Equatorward boundary of the aurora, degrees of corrected geomagnetic latitude. */
  readonly boundaryDeg: number;
  /** Poleward edge of the oval, same degrees. */
  readonly polewardEdgeDeg: number;
  /** `overhead`: the place is under the oval; the others say on which side the aurora stands. */
  readonly side: "poleward" | "overhead" | "equatorward";
  /** Ground distance to the nearer edge, km; 0 under the oval. */
  readonly distanceKm: number;
  /** Elevation of the lower border (110 km) there, degrees; negative below the horizon. */
  readonly borderElevationDeg: number;
  /** Elevation of tall red rays (250 km) there, degrees. */
  readonly topElevationDeg: number;
  /** `high` from 20° up, `low` above the horizon, `topsOnly`: only tall rays reach above it. */
  readonly standing: "overhead" | "high" | "low" | "topsOnly" | "belowHorizon";
};

/** From this elevation on aurora clears trees and haze. Common practice, no source. */
const HIGH_ELEVATION_DEG = 20;

/**
 * Whether and how high aurora can stand above the horizon, for one Kp.
 *
 * @param correctedLatitudeDeg  Of the place; its sign does not matter, the ovals are taken as mirrored.
 * @param kp  0..9.
 * Sources: the NOAA table for the equatorward boundary, Starkov 1994 for the poleward edge (both
 * at magnetic midnight), and plain geometry.
 */
export function auroraView(correctedLatitudeDeg: number, kp: number): AuroraView {
  const latitude = Math.abs(correctedLatitudeDeg);
  const boundaryDeg = kpBoundaryDeg(kp);
  const polewardEdgeDeg = ovalEdges(kp, 0).polewardDeg;
  const side =
    latitude < boundaryDeg ? "poleward" : latitude > polewardEdgeDeg ? "equatorward" : "overhead";
  const edge = side === "poleward" ? boundaryDeg : polewardEdgeDeg;
  const distanceKm = side === "overhead" ? 0 : Math.abs(edge - latitude) * KM_PER_DEG;
  const borderElevationDeg = elevationOverDeg(distanceKm, BORDER_HEIGHT_KM);
  const topElevationDeg = elevationOverDeg(distanceKm, TOP_HEIGHT_KM);
  return {
    kp,
    boundaryDeg,
    polewardEdgeDeg,
    side,
    distanceKm,
    borderElevationDeg,
    topElevationDeg,
    standing: standingOf({ side, borderElevationDeg, topElevationDeg }),
  };
}

function standingOf(
  view: Pick<AuroraView, "side" | "borderElevationDeg" | "topElevationDeg">,
): AuroraView["standing"] {
  if (view.side === "overhead") return "overhead";
  if (view.borderElevationDeg >= HIGH_ELEVATION_DEG) return "high";
  if (view.borderElevationDeg > 0) return "low";
  return view.topElevationDeg > 0 ? "topsOnly" : "belowHorizon";
}
