import { RAD_PER_DEG } from "../sky/angles.ts";
import type { ExposureSettings } from "../exposure/settings.ts";
import type { CurtainMotion } from "../exposure/curtainMotion.ts";

/** Cadence of the simulated camera, and how well it meters. */
export type RehearsalTiming = {
  /** After the shutter closes the camera is busy this long. */
  readonly busySeconds: number;
  /** The reading is there this long after the shutter closed. */
  readonly readingDelaySeconds: number;
  /** Root mean square of the meter's error, stops. */
  readonly meterNoiseStops: number;
};

/** Motion as a perfect measurement would give it. */
export function motionOf(driftDegPerSecond: number, settings: ExposureSettings): CurtainMotion {
  if (settings.pixelPitchUm === null) return { kind: "unknown", why: "no pixel pitch is given" };
  const pxPerRadian = (settings.focalLengthMm * 1000) / settings.pixelPitchUm;
  return {
    kind: "measured",
    degPerSecond: driftDegPerSecond,
    pxPerSecond: driftDegPerSecond * RAD_PER_DEG * pxPerRadian,
  };
}
