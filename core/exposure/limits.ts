import type { CurtainMotion } from "./curtainMotion.ts";
import type { ExposureSettings } from "./settings.ts";

/**
 * Longest exposure that keeps moving curtains within the tolerated smear: t = blur / speed.
 *
 * @returns Seconds; Infinity when nothing moves or the motion is not known.
 */
export function curtainSecondsOf(
  motion: CurtainMotion,
  { blurPx }: Pick<ExposureSettings, "blurPx">,
): number {
  if (motion.kind === "unknown") return Infinity;
  return motion.pxPerSecond > 0 ? blurPx / motion.pxPerSecond : Infinity;
}
