import { stopsFromMidGrey } from "../../core/exposure/exposure.ts";
import type { ExposureSettings } from "../../core/exposure/settings.ts";
import type { SimulatedNight } from "./simulatedNight.ts";

/** How near a simulated night's frames came to the target. */
export type NightScore = {
  /** Frames after the first five. */
  readonly frames: number;
  /** Of those, the ones that some exposure within the limits could have brought to the target. */
  readonly reachable: number;
  /** Shares of the reachable frames within 0.35 stop of the target. */
  readonly withinByMeter: number;
  readonly withinByTruth: number;
  readonly rmsStops: number;
  /** The same had each frame been exposed for the true light of the one before it. */
  readonly persistenceRmsStops: number;
};

const TOLERANCE_STOPS = 0.35;

/**
 * Scores a night. The truth is the mean light of the open sky as the lens passes it on, vignetting
 * included, which is what the meter is to say.
 */
export function scoreNight(night: SimulatedNight, settings: ExposureSettings): NightScore {
  const rows = night.frames.slice(5).flatMap((frame) => {
    const truth = night.truths.get(frame.frameIndex);
    const before = night.truths.get(frame.frameIndex - 1);
    if (!truth || !before || !frame.happened || !frame.reading) return [];
    const { happened, targetStops } = frame;
    const shade = truth.recordedSkyStops - truth.meanSkyStops;
    const stopsAt = (exposureSeconds: number, iso: number): number =>
      stopsFromMidGrey(truth.meanSkyCdM2, { ...happened, exposureSeconds, iso }) + shade;
    const isReachable =
      stopsAt(settings.exposureSecondsMax, settings.isoMax) >= targetStops &&
      stopsAt(settings.exposureSecondsMin, settings.isoMin) <= targetStops;
    if (!isReachable) return [null];
    return [
      {
        byMeter: frame.reading.skyStops - targetStops,
        byTruth: truth.recordedSkyStops - targetStops,
        persistence: Math.log2(truth.meanSkyCdM2 / before.meanSkyCdM2),
      },
    ];
  });
  const reachable = rows.filter((row) => row !== null);
  const within = (pick: (row: (typeof reachable)[number]) => number): number =>
    reachable.filter((row) => Math.abs(pick(row)) <= TOLERANCE_STOPS).length / reachable.length;
  const rms = (pick: (row: (typeof reachable)[number]) => number): number =>
    Math.sqrt(reachable.reduce((sum, row) => sum + pick(row) ** 2, 0) / reachable.length);
  return {
    frames: rows.length,
    reachable: reachable.length,
    withinByMeter: within((row) => row.byMeter),
    withinByTruth: within((row) => row.byTruth),
    rmsStops: rms((row) => row.byTruth),
    persistenceRmsStops: rms((row) => row.persistence),
  };
}
