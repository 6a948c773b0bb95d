import type { Random } from "../random.ts";
import { skyFromColumns, type RehearsalSky } from "./givenSky.ts";
import { cloudLit } from "../simulation/clouds.ts";
import { luminanceCdM2OfMag } from "../sky/luminance.ts";
import type { NightPlan } from "../plan/plan.ts";
import { CD_M2_PER_KR, kpOf, tonightAurora, type TonightActivity } from "./tonightAurora.ts";
import { tonightClouds, type TonightCloudiness } from "./tonightClouds.ts";

/** What a photographer chooses of the simulated skies. */
export type TonightWeather = {
  readonly activity: TonightActivity;
  readonly cloudiness: TonightCloudiness;
};

/** One simulated sky of a plan's watch, in the frame that the plan faces. */
export type TonightSky = {
  /** The sky itself from a moment of the watch on, with times counted from it. */
  stretch(fromSeconds: number, lengthSeconds: number): RehearsalSky;
  /** Luminance at a moment of the watch, cd/m². */
  luminanceAt(atSeconds: number): number;
  /** Whether clouds keep back more than half of the light behind them at a moment. */
  isCloudedAt(atSeconds: number): boolean;
};

/** Rows of a stretch; pulsations of two seconds are still followed. */
const ROW_SECONDS = 1;

/** A sky without structure is still uneven by a few percent. */
const PEAK_RATIO_MIN = 1.05;

/**
 * A sky over a plan's watch: the plan's own brightness of the sky (twilight, Moon, natural), aurora
 * of the chosen activity, standing as its Kp lets it stand from here, and clouds before both.
 *
 * @param plan  Of a night with a watch.
 */
export function tonightSky(
  plan: NightPlan,
  { activity, cloudiness }: TonightWeather,
  { watch, random }: { readonly watch: NonNullable<NightPlan["watch"]>; readonly random: Random },
): TonightSky {
  const durationSeconds = watch.hours * 3600;
  const { standing } = plan.aurora[kpOf(activity)]!;
  const aurora = tonightAurora({ activity, standing, durationSeconds, random });
  const clouds = tonightClouds({
    ...{ cloudiness, plan, durationSeconds },
    random: random.fork("clouds"),
  });
  const background = backgroundOf(plan, Date.parse(watch.start));
  const lookAt = (atSeconds: number) => {
    const { meanKr, peakKr, driftDegPerSecond } = aurora(atSeconds);
    const { passedMost, meanFactor } = clouds(atSeconds);
    const dark = background(atSeconds);
    const clear = dark + meanKr * CD_M2_PER_KR;
    const luminanceCdM2 = clear * meanFactor;
    // Bright forms reach across the frame: some of them stands where the clouds are thinnest.
    const peakCdM2 = cloudLit(dark + peakKr * CD_M2_PER_KR, clear, passedMost);
    return {
      luminanceCdM2,
      peakRatio: Math.max(PEAK_RATIO_MIN, peakCdM2 / luminanceCdM2),
      driftDegPerSecond: driftDegPerSecond * passedMost,
    };
  };
  return {
    stretch(fromSeconds, lengthSeconds) {
      const count = Math.max(2, Math.floor(lengthSeconds / ROW_SECONDS) + 1);
      const seconds = Float64Array.from({ length: count }, (_, index) => index * ROW_SECONDS);
      const moments = Array.from(seconds, (at) => lookAt(fromSeconds + at));
      return skyFromColumns({
        seconds,
        luminanceCdM2: Float64Array.from(moments, (moment) => moment.luminanceCdM2),
        peakRatio: Float64Array.from(moments, (moment) => moment.peakRatio),
        driftDegPerSecond: Float64Array.from(moments, (moment) => moment.driftDegPerSecond),
      });
    },
    luminanceAt: (atSeconds) => lookAt(atSeconds).luminanceCdM2,
    isCloudedAt: (atSeconds) => clouds(atSeconds).passedMean < 0.5,
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
