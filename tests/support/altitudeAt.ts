import type { Framing } from "../../core/frames/keogramAxes.ts";
import { atan2Deg } from "../../core/sky/angles.ts";

/**
 * Altitude above the horizon of a height in the picture's middle column, for a rectilinear lens
 * and a level camera.
 *
 * @param share  0 at the picture's top, 1 at its bottom.
 * Source: the pinhole projection: tan of the angle from the axis is distance over focal length.
 */
export function altitudeAt(framing: Framing, share: number): number {
  const fromMiddleMm = (0.5 - share) * framing.pictureHeightMm;
  return framing.altitudeDeg + atan2Deg(fromMiddleMm, framing.focalLengthMm);
}
