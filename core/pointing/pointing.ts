import { asinDeg, atan2Deg, RAD_PER_DEG, turnDeg, type SkyDirection } from "../sky/angles.ts";
import type { Direction, Rotation } from "../sky/direction.ts";
import { AXIS_AT, FITTED_COUNT, type FittedPose, type Pose } from "./fitPose.ts";
import { pointAt, rayAt, type Ray } from "./lensModel.ts";
import type { StarMatch } from "./matchStars.ts";

/** Where a frame points, as its stars prove. */
export type Pointing = {
  readonly pose: Pose;
  /** Direction seen in the picture's middle, as it appears through the air. */
  readonly centre: SkyDirection;
  /** One deviation of that direction on the sphere, degrees. */
  readonly centreSigmaDeg: number;
  /** The horizon falls to the right in the picture if positive, degrees. */
  readonly tiltDeg: number;
  readonly tiltSigmaDeg: number;
  /** Pixels of this picture per radian on the axis. */
  readonly pxPerRad: number;
  /** One deviation, as a share. */
  readonly scaleSigma: number;
  /** Stars that lie where they were found, and detections they are. */
  readonly matches: readonly StarMatch[];
  /** How far they lie apart, pixels. */
  readonly rmsPx: number;
  /** Stars of the catalogue that the frame could have shown, down to the faintest that were tried. */
  readonly shownCount: number;
  /** How likely chance alone does as well, as a power of ten. */
  readonly chanceLog10: number;
};

/** The pointing that a fitted pose means. */
export function pointingOf(found: {
  readonly fitted: FittedPose;
  readonly matches: readonly StarMatch[];
  readonly chanceLog10: number;
  readonly shownCount: number;
}): Pointing {
  const { fitted, matches } = found;
  const { pose, covariance } = fitted;
  const { lens, rotation } = pose;
  const variance = (...parts: readonly (readonly [index: number, factor: number])[]): number =>
    parts.reduce(
      (sum, [row, a]) =>
        sum +
        parts.reduce(
          (inner, [column, b]) => inner + a * b * covariance[row * FITTED_COUNT + column]!,
          0,
        ),
      0,
    );
  const acrossVar = variance([1, 1], [AXIS_AT, 1 / lens.pxPerRad]);
  const upVar = variance([0, 1], [AXIS_AT + 1, 1 / lens.pxPerRad]);
  const centre = directionSeen(pose, rayAt(lens, lens.widthPx / 2, lens.heightPx / 2));
  return {
    pose,
    centre: skyDirectionOf(centre),
    centreSigmaDeg: Math.sqrt(acrossVar + upVar) / RAD_PER_DEG,
    tiltDeg: tiltOf(rotation),
    tiltSigmaDeg: Math.sqrt(variance([2, 1])) / RAD_PER_DEG,
    pxPerRad: lens.pxPerRad,
    scaleSigma: Math.sqrt(variance([3, 1])),
    matches,
    rmsPx: fitted.rmsPx,
    shownCount: found.shownCount,
    chanceLog10: found.chanceLog10,
  };
}

/** The direction at the place of a ray from the camera, east, north and up; of length 1. */
export function directionSeen({ rotation }: Pose, [right, up, forward]: Ray): Direction {
  const length = Math.hypot(right, up, forward);
  const part = (at: 0 | 1 | 2): number =>
    (rotation[0][at] * right + rotation[1][at] * up + rotation[2][at] * forward) / length;
  return [part(0), part(1), part(2)];
}

/** Where in the picture a direction of the sky is seen; `null` beside or behind it. */
export function pointSeen(
  { rotation, lens }: Pose,
  direction: Direction,
): readonly [number, number] | null {
  const part = (row: Direction): number =>
    row[0] * direction[0] + row[1] * direction[1] + row[2] * direction[2];
  return pointAt(lens, [part(rotation[0]), part(rotation[1]), part(rotation[2])]);
}

/** Azimuth and altitude of a unit vector. */
export function skyDirectionOf([east, north, up]: Direction): SkyDirection {
  return { bearingDeg: turnDeg(atan2Deg(east, north)), elevationDeg: asinDeg(up) };
}

/** How much the horizon falls to the right, degrees. */
function tiltOf([right, up]: Rotation): number {
  return atan2Deg(right[2], up[2]);
}
