import type { CurtainMotion } from "./curtainMotion.ts";
import type { MonotonicMs } from "../units.ts";
import { luminanceCdM2Of, type Exposure } from "./exposure.ts";

/** What the governor learns of one frame, once its reading is there. */
export type FrameObservation = {
  readonly frameIndex: number;
  /** Opening of the shutter. */
  readonly openedMs: MonotonicMs;
  /** The exposure that happened. */
  readonly exposure: Exposure;
  readonly skyStops: number;
  readonly uncertaintyStops: number;
  readonly peakRatio: number;
  /** The worst channel's share at the ceiling, 0..1. */
  readonly clippedShare: number;
  readonly motion: CurtainMotion;
};

/**
 * Level of the sky in one frame: log2 of its mean luminance in cd/m², so that frames taken at
 * different settings compare. A doubling of the light is a difference of 1.
 */
export function levelOf(observation: FrameObservation): number {
  return Math.log2(luminanceCdM2Of(observation.skyStops, observation.exposure));
}

/** Middle of the exposure on the night's clock, seconds. */
export function middleSecondsOf(observation: FrameObservation): number {
  return observation.openedMs / 1000 + observation.exposure.exposureSeconds / 2;
}

/** No sky is brighter or darker than 2 to the power of this, in cd/m². */
const LEVEL_MAX = 60;

/** True unless a number in it is missing or senseless; such a reading teaches nothing. */
export function isUsable(observation: FrameObservation): boolean {
  const { exposure, openedMs, skyStops, peakRatio } = observation;
  return (
    Number.isFinite(openedMs) &&
    Number.isFinite(skyStops) &&
    Math.abs(skyStops) < 40 &&
    peakRatio >= 0 &&
    peakRatio < 1e6 &&
    exposure.exposureSeconds > 0 &&
    exposure.iso > 0 &&
    exposure.fNumber > 0 &&
    Math.abs(levelOf(observation)) < LEVEL_MAX
  );
}
