import { nearestRankOf } from "../statistics.ts";
import { isoOf } from "../sky/calendarDate.ts";
import { magArcsec2Of } from "../sky/luminance.ts";
import type { NightPlan } from "../plan/plan.ts";
import type { TonightWeather } from "./tonightSky.ts";

/** Tenth, fiftieth and ninetieth percentile of something over the simulated skies. */
export type Band = { readonly p10: number; readonly p50: number; readonly p90: number };

/** A stretch of the night in the picture: bands over all frames of all skies in it. */
export type TonightSlice = {
  /** Middle of the slice, ISO 8601 UTC. */
  readonly time: string;
  /** Sky toward the frame's centre, aurora and clouds included, V mag/arcsec². */
  readonly skyMagArcsec2: Band;
  readonly exposureSeconds: Band;
  readonly iso: Band;
  /** Recorded brightness from the target, stops. */
  readonly errorStops: Band;
  /** Share of the frames of this time that clouds take, 0..1. */
  readonly cloudedShare: number;
};

/** What a rehearsal of tonight says to expect. */
export type TonightResult = TonightWeather & {
  readonly seed: number;
  readonly skyCount: number;
  readonly watchHours: number;
  readonly frames: Band;
  /** Share of frames within half a stop of the target and not clipped, 0..1. */
  readonly wellExposedShare: Band;
  /** Share of frames in which highlights clip, 0..1. */
  readonly clippedShare: Band;
  /** Share of frames from which clouds keep back more than half of the light, 0..1. */
  readonly cloudedShare: Band;
  /** Share of the skies in which clouds take nine frames of ten, 0..1. */
  readonly cloudedOutShare: number;
  /** Share of frames that are well exposed and not taken by clouds, 0..1. */
  readonly clearAndWellShare: Band;
  /** Longest time between the end of one exposure and the begin of the next, seconds. */
  readonly longestGapSeconds: Band;
  /** Share of all frames by ISO, in full stops, ascending; what is rarer than 0.5 % is left out. */
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

/** A frame of the sample, as the statistics need it. */
type SampledFrame = {
  /** Since the begin of the watch. */
  readonly atSeconds: number;
  readonly luminanceCdM2: number;
  readonly exposureSeconds: number;
  readonly iso: number;
  readonly errorStops: number;
  readonly isClipped: boolean;
  readonly isClouded: boolean;
  /** How many frames of the whole watch it stands for. */
  readonly weight: number;
};

/** One simulated sky's outcome. */
export type SkyOutcome = {
  readonly frames: readonly SampledFrame[];
  /** Of the whole watch. */
  readonly frameCount: number;
  readonly longestGapSeconds: number;
};

/** Frames within this of the target count as well exposed, stops. Common practice, no source. */
const WELL_EXPOSED_STOPS = 0.5;

/** A night is clouded out when clouds take this share of its frames. Common practice, no source. */
const CLOUDED_OUT_SHARE = 0.9;

/** What the outcomes of all skies come to. */
export function tonightResult(
  plan: NightPlan,
  watch: NonNullable<NightPlan["watch"]>,
  rehearsed: {
    readonly weather: TonightWeather;
    readonly seed: number;
    readonly outcomes: readonly SkyOutcome[];
  },
): TonightResult {
  const { weather, seed, outcomes } = rehearsed;
  const { kit, budget } = plan;
  const frameCounts = outcomes.map(({ frameCount }) => frameCount);
  const gigabytes = frameCounts.map((count) => (count * kit.bytesPerFrame) / 1e9);
  const cardGigabytes = kit.cardBytes / 1e9;
  const sharesOf = (test: (frame: SampledFrame) => boolean): readonly number[] =>
    outcomes.map(({ frames }) => weightOf(frames.filter(test)) / weightOf(frames));
  const shareOfSkies = (values: readonly number[], test: (value: number) => boolean): number =>
    values.filter(test).length / outcomes.length;
  const clouded = sharesOf(({ isClouded }) => isClouded);
  const result = {
    ...weather,
    seed,
    skyCount: outcomes.length,
    watchHours: watch.hours,
    frames: bandOf(frameCounts),
    wellExposedShare: bandOf(sharesOf(isWellExposed)),
    clippedShare: bandOf(sharesOf(({ isClipped }) => isClipped)),
    cloudedShare: bandOf(clouded),
    cloudedOutShare: shareOfSkies(clouded, (share) => share >= CLOUDED_OUT_SHARE),
    clearAndWellShare: bandOf(sharesOf((frame) => isWellExposed(frame) && !frame.isClouded)),
    longestGapSeconds: bandOf(outcomes.map(({ longestGapSeconds }) => longestGapSeconds)),
    isoShares: isoSharesOf(outcomes.flatMap(({ frames }) => frames)),
    cardGigabytes: bandOf(gigabytes),
    cardFreeGigabytesAtDawn: bandOf(gigabytes.map((size) => Math.max(0, cardGigabytes - size))),
    cardFullShare: shareOfSkies(gigabytes, (size) => size > cardGigabytes),
    batteries: budget.batteries,
    batteryPercentAtDawn: Math.round((budget.batteries - watch.hours / budget.batteryHours) * 100),
    slices: slicesOf(watch, outcomes),
  };
  return { ...result, sentence: sentenceOf(result) };
}

function isWellExposed({ errorStops, isClipped }: SampledFrame): boolean {
  return Math.abs(errorStops) <= WELL_EXPOSED_STOPS && !isClipped;
}

function sentenceOf(result: Omit<TonightResult, "sentence">): string {
  const { wellExposedShare: well, frames, batteries } = result;
  return (
    `Expect about ${Number(frames.p50.toPrecision(2))} frames, ${percent(well.p50)} of them well exposed ` +
    `(${percent(well.p10)} to ${percent(well.p90)}). ${cloudSentence(result)}${cardSentence(result)} ` +
    `${batteries} ${batteries === 1 ? "battery" : "batteries"}, the last at ${result.batteryPercentAtDawn} % at dawn.`
  );
}

function cloudSentence(result: Omit<TonightResult, "sentence">): string {
  const { cloudiness, cloudedShare: clouded, cloudedOutShare } = result;
  if (cloudiness === "clear") return "";
  const whole =
    cloudedOutShare === 0
      ? ""
      : ` ${percent(cloudedOutShare)} of the nights are clouded over throughout.`;
  return (
    `Clouds take ${percent(clouded.p50)} of the frames ` +
    `(${percent(clouded.p10)} to ${percent(clouded.p90)}).${whole} `
  );
}

function cardSentence({ cardFullShare }: Omit<TonightResult, "sentence">): string {
  return cardFullShare > 0
    ? `The card fills before dawn in ${percent(cardFullShare)} of the skies.`
    : "The card lasts.";
}

function percent(share: number): string {
  return `${Math.round(share * 100)} %`;
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
    .map(([stop, weight]) => ({ iso: 100 * 2 ** stop, share: weight / all }))
    .filter(({ share }) => share >= 0.005);
}

/** Slices of the picture: about half an hour each, 12 to 24 of them. */
function slicesOf(
  watch: NonNullable<NightPlan["watch"]>,
  outcomes: readonly SkyOutcome[],
): readonly TonightSlice[] {
  const startMs = Date.parse(watch.start);
  const count = Math.min(24, Math.max(12, Math.round(watch.hours * 2)));
  const sliceSeconds = (watch.hours * 3600) / count;
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
            time: isoOf(startMs + (index + 0.5) * sliceSeconds * 1000),
            skyMagArcsec2: bandOf(frames.map(({ luminanceCdM2 }) => magArcsec2Of(luminanceCdM2))),
            exposureSeconds: bandOf(frames.map(({ exposureSeconds }) => exposureSeconds)),
            iso: bandOf(frames.map(({ iso }) => iso)),
            errorStops: bandOf(frames.map(({ errorStops }) => errorStops)),
            cloudedShare: weightOf(frames.filter(({ isClouded }) => isClouded)) / weightOf(frames),
          },
        ],
  );
}

/** Percentiles by the nearest rank; zeros for no values. */
export function bandOf(values: readonly number[]): Band {
  return {
    p10: nearestRankOf(values, 0.1),
    p50: nearestRankOf(values, 0.5),
    p90: nearestRankOf(values, 0.9),
  };
}
