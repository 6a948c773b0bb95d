import { turnDeg, type SkyDirection } from "./angles.ts";
import type { AuroraView } from "./auroraView.ts";
import type { GlobePoint } from "./geomagnetic.ts";
import { antipode, bearingDeg } from "./geomagnetic.ts";

/** Where to point the camera for the night. */
type Facing = {
  /** Half of the compass that the frame looks into. */
  readonly facing: "north" | "south";
  /** True bearing and elevation of the frame's centre, degrees. */
  readonly centre: SkyDirection;
  /** Bearing by a compass needle, degrees: the true one less the declination. */
  readonly compassBearingDeg: number;
  /** Where the rays of a corona meet: up along the field line. */
  readonly magneticZenith: SkyDirection;
  /** Toward the nearer magnetic pole, or away from it where the oval stands behind one's back. */
  readonly side: "poleward" | "equatorward";
  readonly why: string;
};

/** The frame's centre stands this far above the aurora's border. Common practice, no source. */
const ABOVE_BORDER_DEG = 10;

/** A strip of land in the frame's lower edge gives the picture a ground. Common practice, no source. */
const LAND_STRIP_DEG = 8;

/** Higher than this the land is lost and a night's film has no hold. Common practice, no source. */
const ELEVATION_MAX_DEG = 55;

/**
 * The direction to face for a place: along the bearing to the geomagnetic pole of its hemisphere,
 * or away from it where even the quiet oval stands on the equatorward side.
 *
 * @param quiet  View of the oval on a quiet night (Kp 2 is about the median).
 * @param frameHeightDeg  Vertical field of view of the lens.
 * Sources: common practice for the elevation of the frame's centre; dip and declination from the
 * World Magnetic Model.
 */
export function faceAurora(options: {
  readonly place: GlobePoint;
  readonly northPole: GlobePoint;
  readonly isNorthern: boolean;
  readonly quiet: AuroraView;
  /** Whether any Kp brings aurora above the horizon here. */
  readonly isEverSeen: boolean;
  readonly frameHeightDeg: number;
  readonly declinationDeg: number;
  readonly inclinationDeg: number;
}): Facing {
  const { place, northPole, isNorthern, quiet, frameHeightDeg, declinationDeg } = options;
  const pole = isNorthern ? northPole : antipode(northPole);
  const toPole = bearingDeg(place, pole);
  const side = quiet.side === "equatorward" ? "equatorward" : "poleward";
  const bearing = side === "poleward" ? toPole : turnDeg(toPole + 180);
  const centre = {
    bearingDeg: bearing,
    elevationDeg: centreElevationDeg(quiet, frameHeightDeg),
  };
  const dip = Math.abs(options.inclinationDeg);
  return {
    facing: halfOf(bearing, place.latitudeDeg),
    centre,
    compassBearingDeg: turnDeg(bearing - declinationDeg),
    magneticZenith: {
      // The field line rises away from the pole: southward and up in the north.
      bearingDeg: turnDeg(isNorthern ? declinationDeg + 180 : declinationDeg),
      elevationDeg: dip,
    },
    side,
    why: whyOf(side, options),
  };
}

/** At a pole every direction is the same half of the compass, whatever meridian it is counted from. */
function halfOf(bearing: number, latitudeDeg: number): Facing["facing"] {
  if (Math.abs(latitudeDeg) > 89.99) return latitudeDeg > 0 ? "south" : "north";
  return bearing < 90 || bearing > 270 ? "north" : "south";
}

/** The border well inside the frame, and a strip of land below. */
function centreElevationDeg(quiet: AuroraView, frameHeightDeg: number): number {
  const land = Math.max(0, frameHeightDeg / 2 - LAND_STRIP_DEG);
  const border = quiet.side === "overhead" ? 0 : Math.max(0, quiet.borderElevationDeg);
  return Math.min(ELEVATION_MAX_DEG, Math.max(land, border + ABOVE_BORDER_DEG));
}

function whyOf(
  side: Facing["side"],
  { quiet, isEverSeen }: { readonly quiet: AuroraView; readonly isEverSeen: boolean },
): string {
  if (!isEverSeen) return "should aurora ever come this far, it would stand on this side";
  if (side === "equatorward") return "even on a quiet night the oval stands toward the equator";
  if (quiet.side === "overhead") {
    return "the oval passes over this place; arcs rise on the side of the pole";
  }
  return "the oval stands on the side of the magnetic pole";
}
