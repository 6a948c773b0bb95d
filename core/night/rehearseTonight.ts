import { secondsIsoFor } from "../exposure/allocation.ts";
import type { Exposure } from "../exposure/exposure.ts";
import { DEFAULT_EXPOSURE_SETTINGS, type ExposureSettings } from "../exposure/settings.ts";
import { NightError } from "../errors.ts";
import { createRandom, type Random } from "../random.ts";
import { DEFAULT_REHEARSAL_TIMING, rehearse } from "../simulation/rehearsal.ts";
import { readSky, skyFromColumns, type RehearsalSky } from "../simulation/rehearsalSky.ts";
import { isoOf } from "../sky/calendarDate.ts";
import { luminanceCdM2OfMag, magArcsec2Of } from "../sky/luminance.ts";
import type { NightPlan } from "./plan.ts";
import { CD_M2_PER_KR, kpOf, tonightAurora, type TonightActivity } from "./tonightSky.ts";

export type { TonightActivity };

/** Tenth, fiftieth and ninetieth percentile of something over the simulated skies. */
export type Band = { readonly p10: number; readonly p50: number; readonly p90: number };

/** A stretch of the night in the picture: bands over all frames of all skies in it. */
export type TonightSlice = {
  /** Middle of the slice, ISO 8601 UTC. */
  readonly time: string;
  /** Sky toward the frame's centre, aurora included, V mag/arcsec². */
  readonly skyMagArcsec2: Band;
  readonly exposureSeconds: Band;
  readonly iso: Band;
  /** Recorded brightness from the target, stops. */
  readonly errorStops: Band;
};

/** What a rehearsal of tonight says to expect. */
export type TonightResult = {
  readonly activity: TonightActivity;
  readonly seed: number;
  readonly skyCount: number;
  readonly watchHours: number;
  readonly frames: Band;
  /** Share of frames within half a stop of the target and not clipped, 0..1. */
  readonly wellExposedShare: Band;
  /** Share of frames in which highlights clip, 0..1. */
  readonly clippedShare: Band;
  /** Longest time between the end of one exposure and the begin of the next, seconds. */
  readonly longestGapSeconds: Band;
  /** Share of all frames by ISO, in full stops, ascending. */
  readonly isoShares: readonly { readonly iso: number; readonly share: number }[];
  readonly cardGigabytes: Band;
  /** 0 once the card is full. */
  readonly cardFreeGigabytesAtDawn: Band;
  /** Share of skies that fill the card before dawn, 0..1. */
  readonly cardFullShare: number;
  /** Batteries the night takes in this cold, and the charge of the last one at dawn. */
  readonly batteries: number;
  readonly batteryPercentAtDawn: number;
  readonly slices: readonly TonightSlice[];
  readonly sentence: string;
};

/** Frames within this of the target count as well exposed, stops. Common practice, no source. */
export const WELL_EXPOSED_STOPS = 0.5;

/**
 * Every sky is looked at in this many stretches of about this many frames, one at a random moment of
 * each equal part of the watch: the governor is run for real, and the whole stays within seconds.
 */
const STRETCH_COUNT = 8;
const STRETCH_FRAMES = 16;

/** Rows of a stretch's sky; pulsations of two seconds are still followed. */
const ROW_SECONDS = 1;

/** A stretch begins in the middle of a running watch; the frames in which the governor settles are left out. */
const SETTLING_FRAMES = 3;

/** A frame of the sample, as the statistics need it. */
type SampledFrame = {
  readonly atSeconds: number;
  readonly luminanceCdM2: number;
  readonly exposureSeconds: number;
  readonly iso: number;
  readonly errorStops: number;
  readonly isClipped: boolean;
  /** How many frames of the whole watch it stands for. */
  readonly weight: number;
};

/** One simulated sky's outcome. */
type SkyOutcome = {
  readonly frames: readonly SampledFrame[];
  /** Of the whole watch. */
  readonly frameCount: number;
  readonly longestGapSeconds: number;
};

/**
 * Runs a plan and its kit against simulated skies, with the night's own watch and governor.
 *
 * The skies are clear: the plan's own brightness of the sky (twilight, Moon, natural) with random
 * aurora of the chosen activity, standing as that activity's Kp lets it stand from here. Each sky
 * is sampled (see above); frames, card and gaps are scaled to the whole watch by its own cadence.
 *
 * @param onProgress  Called after each sky with the number done.
 * @throws NightError `settings.invalid` when the night is too light for a watch.
 */
export function rehearseTonight(options: {
  readonly plan: NightPlan;
  readonly activity: TonightActivity;
  readonly seed: number;
  readonly skyCount?: number;
  readonly onProgress?: (doneCount: number) => void;
}): TonightResult {
  const { plan, activity, seed, skyCount = 100, onProgress } = options;
  const { watch } = plan;
  if (watch === null) {
    throw new NightError(
      "settings.invalid",
      `There is no watch to rehearse: ${plan.darknessSentence}`,
    );
  }
  const night = {
    plan,
    activity,
    watchSeconds: watch.hours * 3600,
    startMs: Date.parse(watch.start),
  };
  const settings = settingsOf(plan);
  const random = createRandom(`tonight/${seed}`);
  const outcomes: SkyOutcome[] = [];
  for (let index = 0; index < skyCount; index += 1) {
    outcomes.push(oneSky(night, settings, random.fork(`sky ${index}`)));
    onProgress?.(index + 1);
  }
  return resultOf(night, outcomes, { seed, skyCount });
}

type Night = {
  readonly plan: NightPlan;
  readonly activity: TonightActivity;
  readonly watchSeconds: number;
  readonly startMs: number;
};

function settingsOf({ kit, maxExposureSeconds }: NightPlan): ExposureSettings {
  return {
    ...DEFAULT_EXPOSURE_SETTINGS,
    fNumber: kit.fNumberWidest,
    isoMax: kit.isoComfortMax,
    isoMin: Math.min(DEFAULT_EXPOSURE_SETTINGS.isoMin, kit.isoComfortMax),
    exposureSecondsMin: Math.min(DEFAULT_EXPOSURE_SETTINGS.exposureSecondsMin, maxExposureSeconds),
    exposureSecondsMax: Math.min(DEFAULT_EXPOSURE_SETTINGS.exposureSecondsMax, maxExposureSeconds),
    focalLengthMm: kit.focalLengthMm,
    pixelPitchUm: kit.pixelPitchUm,
  };
}

function oneSky(night: Night, settings: ExposureSettings, random: Random): SkyOutcome {
  const { plan, activity, watchSeconds } = night;
  const aurora = tonightAurora({
    activity,
    standing: plan.aurora[kpOf(activity)]!.standing,
    durationSeconds: watchSeconds,
    random,
  });
  const look = { aurora, background: backgroundOf(plan, night.startMs), settings, plan };
  const moments = random.fork("stretches");
  const partSeconds = watchSeconds / STRETCH_COUNT;
  const stretches = Array.from({ length: STRETCH_COUNT }, (_, part) =>
    oneStretch(look, {
      atSeconds: (part + moments.uniform()) * partSeconds,
      partSeconds,
      seed: moments.integer(2 ** 31),
    }),
  );
  return {
    frames: stretches.flatMap(({ frames }) => frames),
    frameCount: Math.floor(stretches.reduce((sum, { frameCount }) => sum + frameCount, 0)),
    longestGapSeconds: Math.max(...stretches.map(({ longestGapSeconds }) => longestGapSeconds)),
  };
}

type Look = {
  readonly aurora: ReturnType<typeof tonightAurora>;
  readonly background: (atSeconds: number) => number;
  readonly settings: ExposureSettings;
  readonly plan: NightPlan;
};

/** The governor over one stretch, which stands for its whole part of the watch. */
function oneStretch(
  look: Look,
  stretch: { readonly atSeconds: number; readonly partSeconds: number; readonly seed: number },
): SkyOutcome {
  const { settings, plan } = look;
  const { busySeconds } = plan.kit;
  const { atSeconds, partSeconds, seed } = stretch;
  const first = firstExposure(skyAt(look, atSeconds).luminanceCdM2, settings);
  const frameCount = STRETCH_FRAMES + SETTLING_FRAMES;
  const lengthSeconds = frameCount * (first.exposureSeconds + busySeconds);
  const sky = stretchSky(look, atSeconds, lengthSeconds);
  const timing = { ...DEFAULT_REHEARSAL_TIMING, busySeconds };
  const taken = rehearse(sky, { settings, timing, seed, first, lightMeter: null });
  const counted = taken.slice(Math.min(SETTLING_FRAMES, Math.max(0, taken.length - 1)));
  const reader = readSky(sky);
  const periods = counted.slice(1).map((frame, i) => frame.startSeconds - counted[i]!.startSeconds);
  const periodSeconds =
    periods.length === 0
      ? first.exposureSeconds + busySeconds
      : periods.reduce((sum, period) => sum + period, 0) / periods.length;
  const partFrames = partSeconds / periodSeconds;
  return {
    frameCount: partFrames,
    longestGapSeconds: Math.max(
      busySeconds,
      ...periods.map((period, i) => period - counted[i]!.exposure.exposureSeconds),
    ),
    frames: counted.map(({ startSeconds, exposure, errorStops, isClipped }) => ({
      atSeconds: atSeconds + startSeconds,
      luminanceCdM2: reader.luminanceAt(startSeconds + exposure.exposureSeconds / 2),
      exposureSeconds: exposure.exposureSeconds,
      iso: exposure.iso,
      errorStops,
      isClipped,
      weight: partFrames / counted.length,
    })),
  };
}

/** The plan's own sky (cd/m²) at seconds after the begin of the watch, linear between its samples. */
function backgroundOf(plan: NightPlan, startMs: number): (atSeconds: number) => number {
  const { samples } = plan;
  const firstMs = Date.parse(samples[0]!.time);
  const stepMs = Date.parse(samples[1]!.time) - firstMs;
  return (atSeconds) => {
    const position = (startMs + atSeconds * 1000 - firstMs) / stepMs;
    const index = Math.min(samples.length - 2, Math.max(0, Math.floor(position)));
    const [from, to] = [samples[index]!.skyMagArcsec2, samples[index + 1]!.skyMagArcsec2];
    const mag = from + (to - from) * Math.min(1, Math.max(0, position - index));
    return luminanceCdM2OfMag(mag);
  };
}

function skyAt(
  { aurora, background }: Look,
  atSeconds: number,
): { luminanceCdM2: number; peakRatio: number; driftDegPerSecond: number } {
  const { meanKr, peakKr, driftDegPerSecond } = aurora(atSeconds);
  const dark = background(atSeconds);
  const luminanceCdM2 = dark + meanKr * CD_M2_PER_KR;
  // A sky without structure is still uneven by a few percent.
  const peakRatio = Math.max(1.05, (dark + peakKr * CD_M2_PER_KR) / luminanceCdM2);
  return { luminanceCdM2, peakRatio, driftDegPerSecond };
}

function stretchSky(look: Look, fromSeconds: number, lengthSeconds: number): RehearsalSky {
  const count = Math.max(2, Math.floor(lengthSeconds / ROW_SECONDS) + 1);
  const seconds = Float64Array.from({ length: count }, (_, index) => index * ROW_SECONDS);
  const moments = Array.from(seconds, (at) => skyAt(look, fromSeconds + at));
  return skyFromColumns({
    seconds,
    luminanceCdM2: Float64Array.from(moments, (moment) => moment.luminanceCdM2),
    peakRatio: Float64Array.from(moments, (moment) => moment.peakRatio),
    driftDegPerSecond: Float64Array.from(moments, (moment) => moment.driftDegPerSecond),
  });
}

/** What the running watch would have been at: the right exposure for the stretch's first moment. */
function firstExposure(luminanceCdM2: number, settings: ExposureSettings): Exposure {
  const wanted = secondsIsoFor(Math.log2(luminanceCdM2), settings.targetStops, settings);
  const { exposureSecondsMin, exposureSecondsMax, isoMin, isoMax, fNumber } = settings;
  const iso = Math.min(isoMax, Math.max(isoMin, wanted / exposureSecondsMax));
  const time = Math.min(exposureSecondsMax, Math.max(exposureSecondsMin, wanted / iso));
  return { exposureSeconds: time, iso, fNumber };
}

function resultOf(
  night: Night,
  outcomes: readonly SkyOutcome[],
  { seed, skyCount }: { seed: number; skyCount: number },
): TonightResult {
  const { plan, activity, watchSeconds } = night;
  const { kit, budget } = plan;
  const frameCounts = outcomes.map(({ frameCount }) => frameCount);
  const gigabytes = frameCounts.map((count) => (count * kit.bytesPerFrame) / 1e9);
  const cardGigabytes = kit.cardBytes / 1e9;
  const shareOf = (test: (frame: SampledFrame) => boolean): Band =>
    bandOf(outcomes.map(({ frames }) => weightOf(frames.filter(test)) / weightOf(frames)));
  const wellExposedShare = shareOf(
    ({ errorStops, isClipped }) => Math.abs(errorStops) <= WELL_EXPOSED_STOPS && !isClipped,
  );
  const used = plan.watch === null ? 0 : plan.watch.hours / budget.batteryHours;
  const frames = bandOf(frameCounts);
  const result = {
    activity,
    seed,
    skyCount,
    watchHours: watchSeconds / 3600,
    frames,
    wellExposedShare,
    clippedShare: shareOf(({ isClipped }) => isClipped),
    longestGapSeconds: bandOf(outcomes.map(({ longestGapSeconds }) => longestGapSeconds)),
    isoShares: isoSharesOf(outcomes.flatMap(({ frames: sampled }) => sampled)),
    cardGigabytes: bandOf(gigabytes),
    cardFreeGigabytesAtDawn: bandOf(gigabytes.map((size) => Math.max(0, cardGigabytes - size))),
    cardFullShare: gigabytes.filter((size) => size > cardGigabytes).length / skyCount,
    batteries: budget.batteries,
    batteryPercentAtDawn: Math.round((budget.batteries - used) * 100),
    slices: slicesOf(night, outcomes),
  };
  return { ...result, sentence: sentenceOf(result) };
}

function sentenceOf(result: Omit<TonightResult, "sentence">): string {
  const percent = (share: number): number => Math.round(share * 100);
  const { wellExposedShare: well, frames, cardFullShare, batteries } = result;
  const card =
    cardFullShare > 0
      ? `The card fills before dawn in ${percent(cardFullShare)} % of the skies.`
      : "The card lasts.";
  return (
    `Expect about ${frames.p50} frames, ${percent(well.p50)} % of them well exposed ` +
    `(${percent(well.p10)} to ${percent(well.p90)} %). ${card} ` +
    `${batteries} ${batteries === 1 ? "battery" : "batteries"}, the last at ${result.batteryPercentAtDawn} % at dawn.`
  );
}

function weightOf(frames: readonly SampledFrame[]): number {
  return frames.reduce((sum, { weight }) => sum + weight, 0);
}

function isoSharesOf(frames: readonly SampledFrame[]): TonightResult["isoShares"] {
  const weights = new Map<number, number>();
  for (const { iso, weight } of frames) {
    const stop = Math.round(Math.log2(iso / 100));
    weights.set(stop, (weights.get(stop) ?? 0) + weight);
  }
  const all = weightOf(frames);
  return [...weights.entries()]
    .sort(([a], [b]) => a - b)
    .map(([stop, weight]) => ({ iso: 100 * 2 ** stop, share: weight / all }));
}

/** Slices of the picture: about twenty minutes each, at least 12. */
function slicesOf(night: Night, outcomes: readonly SkyOutcome[]): readonly TonightSlice[] {
  const count = Math.min(48, Math.max(12, Math.round(night.watchSeconds / 1200)));
  const sliceSeconds = night.watchSeconds / count;
  const bins: SampledFrame[][] = Array.from({ length: count }, () => []);
  for (const { frames } of outcomes) {
    for (const frame of frames) {
      bins[Math.min(count - 1, Math.floor(frame.atSeconds / sliceSeconds))]!.push(frame);
    }
  }
  return bins.flatMap((frames, index) =>
    frames.length === 0
      ? []
      : [
          {
            time: isoOf(night.startMs + (index + 0.5) * sliceSeconds * 1000),
            skyMagArcsec2: bandOf(frames.map(({ luminanceCdM2 }) => magArcsec2Of(luminanceCdM2))),
            exposureSeconds: bandOf(frames.map(({ exposureSeconds }) => exposureSeconds)),
            iso: bandOf(frames.map(({ iso }) => iso)),
            errorStops: bandOf(frames.map(({ errorStops }) => errorStops)),
          },
        ],
  );
}

/** Percentiles by the nearest rank; zeros for no values. */
export function bandOf(values: readonly number[]): Band {
  const sorted = [...values].sort((a, b) => a - b);
  const at = (share: number): number =>
    sorted[Math.min(sorted.length - 1, Math.max(0, Math.ceil(share * sorted.length) - 1))] ?? 0;
  return { p10: at(0.1), p50: at(0.5), p90: at(0.9) };
}
