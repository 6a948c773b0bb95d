/** Whether a compass needle can be followed at a place. */
export type CompassTrust = "good" | "caution" | "none";

/** Horizontal field below which a needle wants caution, and below which it is of no use, nT. */
const CAUTION_NT = 6000;
const BLACKOUT_NT = 2000;

/**
 * How far a needle is to be trusted in a horizontal field of this strength.
 * Source: the caution and blackout zones of the World Magnetic Model (from memory).
 */
export function compassTrust(horizontalNt: number): CompassTrust {
  if (horizontalNt < BLACKOUT_NT) return "none";
  return horizontalNt < CAUTION_NT ? "caution" : "good";
}
