import type { Exposure } from "../../core/exposure/exposure.ts";

/** Shorter than this no camera needs to be asked for. */
const EXPOSURE_SECONDS_MIN = 0.01;

/**
 * Time of a trial frame: what it is by night, and less in twilight, where that would only be white.
 *
 * @param sky  The exposure that the clear sky asks for now; null: not known.
 */
export function trialSeconds(
  byNightSeconds: number,
  { iso, sky }: { readonly iso: number; readonly sky: Exposure | null },
): number {
  if (sky === null) return byNightSeconds;
  const seconds = (sky.exposureSeconds * sky.iso) / iso;
  return Math.min(byNightSeconds, Math.max(EXPOSURE_SECONDS_MIN, seconds));
}
