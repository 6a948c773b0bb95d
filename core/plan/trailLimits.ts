import {
  npfSeconds,
  npfSimpleSeconds,
  rule500Seconds,
  SIDEREAL_ARCSEC_PER_SECOND,
  trailLimitSeconds,
} from "../exposure/starTrail.ts";
import { cosDeg, declinationOfDeg, RAD_PER_DEG, sinDeg, type SkyDirection } from "../sky/angles.ts";
import type { Kit } from "./kit.ts";

/** How long an exposure of one framing may be before stars trail, by every usual measure. */
export type TrailLimits = {
  /** Drift that is taken for sharp, pixels of the full-size frame. */
  readonly toleratedPx: number;
  /** Declination of the frame's centre, degrees. */
  readonly centreDeclinationDeg: number;
  /** Drift of a star, pixels a second, at the frame's centre and where in the sky of the frame it is fastest. */
  readonly centrePxPerSecond: number;
  readonly fastestPxPerSecond: number;
  /** Time for the tolerated drift there; `null`: the centre is the pole itself. */
  readonly centreDriftSeconds: number | null;
  readonly fastestDriftSeconds: number;
  /** The NPF formula: simplified, and in full for the centre's declination at k = 1 and 2. */
  readonly npfSimpleSeconds: number;
  readonly npfStrictSeconds: number | null;
  readonly npfFullSeconds: number | null;
  /** The trade's quick rule, 500 over the focal length in full-frame terms. */
  readonly quickRuleSeconds: number;
  readonly recommendedSeconds: number;
  readonly recommendation: string;
};

/** Common practice, no source: visible at full size, not in a film or on a page of a book. */
const TOLERATED_DRIFT_PX = 4;

/** Longer exposures lose the curtains whatever the stars do. Common practice, no source. */
const EXPOSURE_SECONDS_MAX = 30;

/**
 * Star-trail limits of a kit for one framing.
 *
 * Recommended is the smaller of the simplified NPF time and the time for the tolerated drift at
 * the frame's centre, at most 30 s, rounded down to a tenth of a second.
 *
 * @param centre  Where the frame's middle points.
 */
export function trailLimits(options: {
  readonly kit: Kit;
  readonly centre: SkyDirection;
  readonly latitudeDeg: number;
  readonly toleratedPx?: number;
}): TrailLimits {
  const { kit, centre, latitudeDeg, toleratedPx = TOLERATED_DRIFT_PX } = options;
  const declinationDeg = declinationOfDeg(centre, latitudeDeg);
  const optics = { focalLengthMm: kit.focalLengthMm, pixelPitchUm: kit.pixelPitchUm };
  const driftSeconds = trailLimitSeconds(toleratedPx, { ...optics, declinationDeg });
  const npf = npfSimpleSeconds(kit.fNumberWidest, optics);
  const full = (k: number): number | null =>
    orNull(npfSeconds(kit.fNumberWidest, { ...optics, declinationDeg }, k));
  const fastestPxPerSecond = fastestDrift(kit, centre, latitudeDeg);
  const smallest = Math.min(npf, driftSeconds, EXPOSURE_SECONDS_MAX);
  const recommendedSeconds = Math.max(0.1, Math.floor(smallest * 10) / 10);
  return {
    toleratedPx,
    centreDeclinationDeg: declinationDeg,
    centrePxPerSecond: driftPxPerSecond(kit, { centre, latitudeDeg }, [0, 0]),
    fastestPxPerSecond,
    centreDriftSeconds: orNull(driftSeconds),
    fastestDriftSeconds: toleratedPx / fastestPxPerSecond,
    npfSimpleSeconds: npf,
    npfStrictSeconds: full(1),
    npfFullSeconds: full(2),
    quickRuleSeconds: rule500Seconds(kit.focalLengthMm, 36 / kit.sensorWidthMm),
    recommendedSeconds,
    recommendation: recommend({ npf, driftSeconds, recommendedSeconds, fastestPxPerSecond }),
  };
}

function orNull(seconds: number): number | null {
  return Number.isFinite(seconds) && seconds < 1e6 ? seconds : null;
}

function recommend(limits: {
  readonly npf: number;
  readonly driftSeconds: number;
  readonly recommendedSeconds: number;
  readonly fastestPxPerSecond: number;
}): string {
  const { npf, driftSeconds, recommendedSeconds, fastestPxPerSecond } = limits;
  const by =
    recommendedSeconds === EXPOSURE_SECONDS_MAX
      ? "curtains want no longer, whatever the stars allow"
      : npf <= driftSeconds
        ? "by the NPF formula"
        : "by the drift of the framed stars";
  const cornerPx = Math.round(fastestPxPerSecond * recommendedSeconds);
  const most = recommendedSeconds >= 10 ? Math.floor(recommendedSeconds) : recommendedSeconds;
  return `At most ${most} s, ${by}; the fastest star in the frame then trails ${cornerPx} pixels.`;
}

type Framing = { readonly centre: SkyDirection; readonly latitudeDeg: number };

/** Fastest drift among the frame's corners, edges and middle, of those that are above the horizon. */
function fastestDrift(kit: Kit, centre: SkyDirection, latitudeDeg: number): number {
  let fastest = 0;
  for (let row = -4; row <= 4; row += 1) {
    for (let column = -4; column <= 4; column += 1) {
      const at = [(column / 8) * kit.sensorWidthMm, (row / 8) * kit.sensorHeightMm] as const;
      const drift = driftPxPerSecond(kit, { centre, latitudeDeg }, at);
      if (drift > fastest) fastest = drift;
    }
  }
  return fastest;
}

/**
 * Drift (pixels a second) of the sky at a point of the sensor; 0 below the horizon.
 *
 * The sky turns about the pole; its motion is projected through a rectilinear lens, so that the
 * stretch away from the axis is in it. Plane and spherical geometry, no source.
 *
 * @param atMm  Right and up of the sensor's middle, as the scene is seen.
 */
export function driftPxPerSecond(
  kit: Kit,
  { centre, latitudeDeg }: Framing,
  [xMm, yMm]: readonly [number, number],
): number {
  // Axes east, north, up; the camera's own right, up and forward in them.
  const { bearingDeg: az, elevationDeg: el } = centre;
  const right = [cosDeg(az), -sinDeg(az), 0] as const;
  const above = [-sinDeg(el) * sinDeg(az), -sinDeg(el) * cosDeg(az), cosDeg(el)] as const;
  const ahead = [cosDeg(el) * sinDeg(az), cosDeg(el) * cosDeg(az), sinDeg(el)] as const;
  const ray = [0, 1, 2].map(
    (i) => kit.focalLengthMm * ahead[i]! + xMm * right[i]! + yMm * above[i]!,
  );
  const size = Math.hypot(...ray);
  const [east, north, up] = ray.map((part) => part / size) as [number, number, number];
  if (up < 0) return 0;
  const [poleNorth, poleUp] = [cosDeg(latitudeDeg), sinDeg(latitudeDeg)];
  const motion = [poleNorth * up - poleUp * north, poleUp * east, -poleNorth * east] as const;
  const along = (axis: readonly number[], v: readonly number[]): number =>
    axis[0]! * v[0]! + axis[1]! * v[1]! + axis[2]! * v[2]!;
  const depth = size === 0 ? 1 : kit.focalLengthMm / size;
  const across = (axis: readonly number[], offsetMm: number): number =>
    (along(axis, motion) - (offsetMm / kit.focalLengthMm) * along(ahead, motion)) / depth;
  const radiansPerSecond = (SIDEREAL_ARCSEC_PER_SECOND / 3600) * RAD_PER_DEG;
  const mmPerRadian = Math.hypot(across(right, xMm), across(above, yMm)) * kit.focalLengthMm;
  return (radiansPerSecond * mmPerRadian * 1000) / kit.pixelPitchUm;
}
