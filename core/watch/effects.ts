import type { Exposure } from "../exposure/exposure.ts";
import type { MonotonicMs } from "../units.ts";

/**
 * What the watch wants done. The daemon and the rehearsal perform these; each is answered by an
 * event: `connectCamera` by cameraConnected or cameraFailed, `expose` by shutterOpened (then
 * shutterClosed and cameraReady) or cameraFailed, `closeShutter` by shutterClosed, `keepFrame` by
 * frameKept or keepFailed, `meterFrame` by readingArrived or readingFailed, `readStatus` by
 * statusRead or cameraFailed, `wake` by woke, `closeCamera` by cameraClosed.
 */
export type WatchEffect =
  | { readonly kind: "connectCamera" }
  | {
      readonly kind: "expose";
      readonly frameIndex: number;
      readonly exposure: Exposure;
      readonly openAtMs: MonotonicMs;
      readonly reasons: readonly string[];
      readonly targetStops: number;
      /** False when no exposure within the limits meets the target. */
      readonly isReachable: boolean;
      readonly pace: "full" | "sentinel";
      /** Stops by which this frame is brighter than wanted, to learn the tone curve; else 0. */
      readonly probeStops: number;
    }
  | { readonly kind: "closeShutter"; readonly frameIndex: number }
  | { readonly kind: "keepFrame"; readonly frameIndex: number }
  | { readonly kind: "meterFrame"; readonly frameIndex: number }
  | { readonly kind: "markMissing"; readonly frameIndex: number; readonly why: string }
  | { readonly kind: "readStatus" }
  /** Fetches frames before this one that the card has and a lost link or a full disk kept from arriving. */
  | { readonly kind: "reconcileCard"; readonly beforeFrameIndex: number }
  /** One timer for the watch; a new one replaces the old. */
  | { readonly kind: "wake"; readonly atMs: MonotonicMs }
  | { readonly kind: "closeCamera" };
