import { trailLimitSeconds } from "../../core/exposure/starTrail.ts";

/**
 * Drift of a star near the optical axis, pixels of the full-size frame.
 * Source: plane geometry of a rectilinear lens; off axis it grows by up to 1 / cos² of the angle.
 */
export function trailPx(
  exposureSeconds: number,
  optics: Parameters<typeof trailLimitSeconds>[1],
): number {
  return exposureSeconds / trailLimitSeconds(1, optics);
}
