import type { CurtainMotion } from "../photometry/reading.ts";
import type { MonotonicMs } from "../units.ts";
import type { Exposure } from "./exposure.ts";
import type { ExposureSettings } from "./settings.ts";

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
