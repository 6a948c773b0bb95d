import type { CurtainMotion } from "../exposure/curtainMotion.ts";

/** The remark of a reading whose tone curve is still being learned. */
export const TONE_CURVE_UNSURE = "tone curve not yet sure";

/** What the meter says of one frame. */
export type Reading = {
  /** Mean linear light of the metered sky, stops from mid-grey (not from the target). */
  readonly skyStops: number;
  /** One standard deviation of `skyStops`: noise, tone-curve doubt and mask doubt together. */
  readonly uncertaintyStops: number;
  /** Scene luminance of the metered sky, by the frame's own exposure. */
  readonly skyLuminanceCdM2: number;
  /** 99.5th percentile over the mean of the sky's linear light, ≥ 1. */
  readonly peakRatio: number;
  /** Share of the sky's pixels at the ceiling, per channel, 0..1. */
  readonly clippedShare: { readonly red: number; readonly green: number; readonly blue: number };
  /** Share of the frame that was metered as sky, 0..1. */
  readonly skyShare: number;
  /** Counts of the sky's luminance codes, 64 bins from black to white. */
  readonly histogram: readonly number[];
  readonly motion: CurtainMotion;
  /** Median full width at half maximum of the stars, pixels of the metered image; null: too few. */
  readonly starWidthPx: number | null;
  readonly starCount: number;
  /** Plain words on what was left out or doubted: "moon in frame", "tone curve not yet sure". */
  readonly remarks: readonly string[];
};
