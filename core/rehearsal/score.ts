import { nearestRankOf } from "../statistics.ts";
import { stopsFromMidGrey, type Exposure } from "../exposure/exposure.ts";
import { secondsIsoFor, timeLimits } from "../exposure/allocation.ts";
import { CEILING_STOPS } from "../exposure/highlights.ts";
import { usableIsos } from "../exposure/ladder.ts";
import type { ExposureSettings } from "../exposure/settings.ts";
import type { SkyWindow } from "./givenSky.ts";

/** One frame of a rehearsal: what was asked, what the sky did to it. */
export type RehearsalFrame = {
  readonly index: number;
  readonly startSeconds: number;
  readonly exposure: Exposure;
  /** What the meter said, stops from the target; null: no reading came before the end. */
  readonly meteredStops: number | null;
  /** What the frame truly got, stops from the target. */
  readonly errorStops: number;
  /** An exposure within the limits would have met the target without clipping. */
  readonly isReachable: boolean;
  /** Its brightest parts went over the ceiling. */
  readonly isClipped: boolean;
  readonly reasons: readonly string[];
};

/** What a rehearsal comes to. */
type RehearsalScore = {
  readonly frames: number;
  readonly targetStops: number;
  /** Root mean square and 95th percentile of the error's size, over the reachable frames. */
  readonly rmsErrorStops: number;
  readonly p95ErrorStops: number;
  readonly clippedFrames: number;
  readonly reachableFrames: number;
};

/**
 * How a frame came out.
 *
 * Reachable: with the frame's own mean luminance, some time and ISO within the settings' limits
 * (shortest, longest, interval; lowest and highest ISO) meet the target, and at the target the
 * brightest parts stay under the ceiling. Clipped: peakRatio · H > 78 / S.
 */
export function judgeFrame(
  window: SkyWindow,
  exposure: Exposure,
  settings: ExposureSettings,
): Pick<RehearsalFrame, "errorStops" | "isReachable" | "isClipped"> {
  const stops = stopsFromMidGrey(window.meanCdM2, exposure);
  const peakStops = Math.log2(window.peakRatio);
  const wanted = secondsIsoFor(Math.log2(window.meanCdM2), settings.targetStops, settings);
  const { min, max } = timeLimits(settings);
  const isos = usableIsos(settings.isoLadder, settings);
  const fits = wanted >= min * isos[0]! * 0.999999 && wanted <= max * isos.at(-1)! * 1.000001;
  return {
    errorStops: stops - settings.targetStops,
    isReachable: fits && settings.targetStops + peakStops <= CEILING_STOPS,
    isClipped: stops + peakStops > CEILING_STOPS,
  };
}

/** @returns Zeros for the errors when no frame was reachable. */
export function scoreOf(
  frames: readonly RehearsalFrame[],
  settings: ExposureSettings,
): RehearsalScore {
  const errors = frames
    .filter(({ isReachable }) => isReachable)
    .map(({ errorStops }) => Math.abs(errorStops));
  const squares = errors.reduce((sum, error) => sum + error * error, 0);
  return {
    frames: frames.length,
    targetStops: settings.targetStops,
    rmsErrorStops: errors.length === 0 ? 0 : Math.sqrt(squares / errors.length),
    p95ErrorStops: nearestRankOf(errors, 0.95),
    clippedFrames: frames.filter(({ isClipped }) => isClipped).length,
    reachableFrames: errors.length,
  };
}
