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
  /** What the meter said less what was true: its own error, RMS and mean. */
  readonly meterRmsStops: number;
  readonly meterBiasStops: number;
  /** Share of the frames whose meter's error lies within twice the doubt that it stated. */
  readonly withinTwoSigmas: number;
};

const TOLERANCE_STOPS = 0.35;

/**
 * Scores a night. The truth is the mean light of the open sky as the lens passes it on, vignetting
 * included, which is what the meter is to say. It is held against the settings' own target: a frame
 * that was varied to teach the tone curve counts with what it was varied by.
 *
 * @param midGreyStops  Of the hidden tone curve, from `midGreyOffsetStops`. No picture tells it, so
 *   it is part of the target, and no error of the meter's.
 */
export function scoreNight(
  night: SimulatedNight,
  settings: ExposureSettings,
  midGreyStops = 0,
): NightScore {
  const targetStops = settings.targetStops + midGreyStops;
  const rows = night.frames.slice(5).flatMap((frame) => {
    const truth = night.truths.get(frame.frameIndex);
    const before = night.truths.get(frame.frameIndex - 1);
    if (!truth || !before || !frame.happened || !frame.reading) return [];
    const { happened, reading } = frame;
    const shade = truth.recordedSkyStops - truth.meanSkyStops;
    const stopsAt = (exposureSeconds: number, iso: number): number =>
      stopsFromMidGrey(truth.meanSkyCdM2, { ...happened, exposureSeconds, iso }) + shade;
    const isReachable =
      stopsAt(settings.exposureSecondsMax, settings.isoMax) >= targetStops &&
      stopsAt(settings.exposureSecondsMin, settings.isoMin) <= targetStops;
    if (!isReachable) return [null];
    const meter = reading.skyStops + midGreyStops - truth.recordedSkyStops;
    return [
      {
        byMeter: reading.skyStops - settings.targetStops,
        byTruth: truth.recordedSkyStops - targetStops,
        persistence: Math.log2(truth.meanSkyCdM2 / before.meanSkyCdM2),
        meter,
        isWithinTwoSigmas: Math.abs(meter) <= 2 * reading.uncertaintyStops,
      },
    ];
  });
  const reachable = rows.filter((row) => row !== null);
  type Row = (typeof reachable)[number];
  const mean = (pick: (row: Row) => number): number =>
    reachable.reduce((sum, row) => sum + pick(row), 0) / reachable.length;
  const rms = (pick: (row: Row) => number): number => Math.sqrt(mean((row) => pick(row) ** 2));
  const within = (pick: (row: Row) => number): number =>
    mean((row) => (Math.abs(pick(row)) <= TOLERANCE_STOPS ? 1 : 0));
  return {
    frames: rows.length,
    reachable: reachable.length,
    withinByMeter: within((row) => row.byMeter),
    withinByTruth: within((row) => row.byTruth),
    rmsStops: rms((row) => row.byTruth),
    persistenceRmsStops: rms((row) => row.persistence),
    meterRmsStops: rms((row) => row.meter),
    meterBiasStops: mean((row) => row.meter),
    withinTwoSigmas: mean((row) => (row.isWithinTwoSigmas ? 1 : 0)),
  };
}
