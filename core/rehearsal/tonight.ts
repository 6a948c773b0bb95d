import { secondsIsoFor } from "../exposure/allocation.ts";
import type { Exposure } from "../exposure/exposure.ts";
import { DEFAULT_EXPOSURE_SETTINGS, type ExposureSettings } from "../exposure/settings.ts";
import { NightError } from "../errors.ts";
import { createRandom, type Random } from "../random.ts";
import { DEFAULT_REHEARSAL_TIMING, rehearse } from "./rehearsal.ts";
import type { RehearsalFrame } from "./score.ts";
import type { NightPlan } from "../plan/plan.ts";
import { tonightResult, type SkyOutcome, type TonightResult } from "./tonightResult.ts";
import { tonightSky, type TonightSky, type TonightWeather } from "./tonightSky.ts";

/**
 * Every sky is looked at in this many stretches of about this many frames, one at a random moment of
 * each equal part of the watch: the governor is run for real, and the whole stays within seconds.
 */
const STRETCH_COUNT = 16;
const STRETCH_FRAMES = 8;

/** A stretch begins in the middle of a running watch; the frames in which the governor settles are left out. */
const SETTLING_FRAMES = 3;

/**
 * Runs a plan and its kit against simulated skies of the chosen weather, with the night's own watch
 * and governor. Each sky is sampled (see above); frames, card and gaps are scaled to the whole watch
 * by its own cadence.
 *
 * @param onProgress  Called after each sky with the number done.
 * @throws NightError `settings.invalid` when the night is too light for a watch.
 */
export function rehearseTonight(options: {
  readonly plan: NightPlan;
  readonly weather: TonightWeather;
  readonly seed: number;
  readonly skyCount?: number;
  readonly onProgress?: (doneCount: number) => void;
}): TonightResult {
  const { plan, weather, seed, skyCount = 100, onProgress } = options;
  const watch = watchToRehearse(plan);
  const random = createRandom(`tonight/${seed}`);
  const outcomes: SkyOutcome[] = [];
  for (let index = 0; index < skyCount; index += 1) {
    const own = random.fork(`sky ${index}`);
    const sky = tonightSky(plan, weather, { watch, random: own });
    outcomes.push(oneNight(plan, sky, { watchSeconds: watch.hours * 3600, random: own }));
    onProgress?.(index + 1);
  }
  return tonightResult(plan, watch, { weather, seed, outcomes });
}

/**
 * The watch of a plan that is to be rehearsed.
 *
 * @throws NightError `settings.invalid` when the night is too light for one.
 */
export function watchToRehearse({ watch, darknessSentence }: NightPlan) {
  if (watch !== null) return watch;
  throw new NightError("settings.invalid", `There is no watch to rehearse: ${darknessSentence}`);
}

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

function oneNight(
  plan: NightPlan,
  sky: TonightSky,
  { watchSeconds, random }: { readonly watchSeconds: number; readonly random: Random },
): SkyOutcome {
  const moments = random.fork("stretches");
  const partSeconds = watchSeconds / STRETCH_COUNT;
  const stretches = Array.from({ length: STRETCH_COUNT }, (_, part) =>
    oneStretch(plan, sky, {
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

/** The governor over one stretch, which stands for its whole part of the watch. */
function oneStretch(
  plan: NightPlan,
  sky: TonightSky,
  stretch: { readonly atSeconds: number; readonly partSeconds: number; readonly seed: number },
): SkyOutcome {
  const { busySeconds } = plan.kit;
  const { atSeconds, partSeconds, seed } = stretch;
  const settings = settingsOf(plan);
  const first = firstExposure(sky.luminanceAt(atSeconds), settings);
  const firstPeriodSeconds = first.exposureSeconds + busySeconds;
  const lengthSeconds = (STRETCH_FRAMES + SETTLING_FRAMES) * firstPeriodSeconds;
  const timing = { ...DEFAULT_REHEARSAL_TIMING, busySeconds };
  const taken = rehearse(sky.stretch(atSeconds, lengthSeconds), {
    ...{ settings, timing, seed, first },
    lightMeter: null,
  });
  const counted = taken.slice(Math.min(SETTLING_FRAMES, Math.max(0, taken.length - 1)));
  const frameCount = partSeconds / periodSecondsOf(counted, firstPeriodSeconds);
  return {
    frameCount,
    longestGapSeconds: Math.max(busySeconds, ...gapsSecondsOf(counted)),
    frames: counted.map(({ startSeconds, exposure, errorStops, isClipped }) => {
      const middleSeconds = atSeconds + startSeconds + exposure.exposureSeconds / 2;
      return {
        atSeconds: atSeconds + startSeconds,
        luminanceCdM2: sky.luminanceAt(middleSeconds),
        exposureSeconds: exposure.exposureSeconds,
        iso: exposure.iso,
        errorStops,
        isClipped,
        isClouded: sky.isCloudedAt(middleSeconds),
        weight: frameCount / counted.length,
      };
    }),
  };
}

/** Mean time from one frame's begin to the next's; with fewer than two frames, the given one. */
function periodSecondsOf(frames: readonly RehearsalFrame[], otherwiseSeconds: number): number {
  if (frames.length < 2) return otherwiseSeconds;
  return (frames.at(-1)!.startSeconds - frames[0]!.startSeconds) / (frames.length - 1);
}

function gapsSecondsOf(frames: readonly RehearsalFrame[]): readonly number[] {
  return frames.slice(1).map(({ startSeconds }, index) => {
    const before = frames[index]!;
    return startSeconds - before.startSeconds - before.exposure.exposureSeconds;
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
