/** What has used the battery so far. */
type BatteryUse = {
  /** Time switched on, night ms. */
  readonly onMs: number;
  /** Time with the shutter open, night ms. */
  readonly openMs: number;
  readonly frameCount: number;
};

// How a full night of back-to-back frames splits its charge; invented, as the camera is.
const SHARE_ON = 0.5;
const SHARE_OPEN = 0.4;
const SHARE_FRAMES = 0.1;
const FRAME_SECONDS = 15;

/**
 * Charge left, percent, not rounded, never below 0.
 * @param batteryHours  How long a full battery lasts with 15-second frames back to back.
 */
export function batteryPercent(
  startPercent: number,
  batteryHours: number,
  use: BatteryUse,
): number {
  const lifeMs = batteryHours * 3_600_000;
  const framesInLife = lifeMs / (FRAME_SECONDS * 1000);
  const used =
    (SHARE_ON * use.onMs) / lifeMs +
    (SHARE_OPEN * use.openMs) / lifeMs +
    (SHARE_FRAMES * use.frameCount) / framesInLife;
  return Math.max(0, startPercent - 100 * used);
}
