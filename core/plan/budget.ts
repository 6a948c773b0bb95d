import { NightError } from "../errors.ts";
import type { Exposure } from "../exposure/exposure.ts";
import type { Kit } from "./kit.ts";

/** Frames, film and room of one pace. */
export type PaceBudget = {
  readonly frames: number;
  readonly filmSeconds: number;
  readonly gigabytes: number;
  readonly cards: number;
};

/** What a watch costs and yields. */
export type PlanBudget = {
  readonly framesPerSecond: number;
  /** Exposures of the quiet start back to back all night, and of the lively start. */
  readonly quiet: PaceBudget;
  readonly lively: PaceBudget;
  readonly batteryHours: number;
  /** Share of a battery's energy that the cold leaves. */
  readonly batteryShare: number;
  /** Charged batteries for the whole watch; 0 without a watch. */
  readonly batteries: number;
};

const USUAL_FRAMES_PER_SECOND = 24;

/**
 * Frames, film seconds, gigabytes (1e9 bytes), cards and batteries of a watch. Plain arithmetic:
 * a frame takes its exposure and the camera's busy time.
 *
 * @param watchSeconds  0 for a night without a watch; everything then is 0.
 * @throws NightError `settings.invalid` for a frame rate outside 1..240.
 */
export function planBudget(options: {
  readonly kit: Kit;
  readonly watchSeconds: number;
  readonly start: { readonly quiet: Exposure; readonly lively: Exposure };
  readonly temperatureC: number;
  readonly framesPerSecond?: number;
}): PlanBudget {
  const { kit, watchSeconds, start, temperatureC } = options;
  const framesPerSecond = options.framesPerSecond ?? USUAL_FRAMES_PER_SECOND;
  if (!(framesPerSecond >= 1 && framesPerSecond <= 240)) {
    throw new NightError(
      "settings.invalid",
      `The film's frame rate must be from 1 to 240 frames a second, not ${framesPerSecond}.`,
    );
  }
  const pace = ({ exposureSeconds }: Exposure): PaceBudget => {
    const frames = Math.floor(watchSeconds / (exposureSeconds + kit.busySeconds));
    const bytes = frames * kit.bytesPerFrame;
    return {
      frames,
      filmSeconds: frames / framesPerSecond,
      gigabytes: bytes / 1e9,
      cards: Math.ceil(bytes / kit.cardBytes),
    };
  };
  const hours = batteryHours(kit, temperatureC);
  return {
    framesPerSecond,
    quiet: pace(start.quiet),
    lively: pace(start.lively),
    batteryHours: hours,
    batteryShare: batteryShareAt(temperatureC),
    batteries: Math.ceil(watchSeconds / 3600 / hours),
  };
}

/**
 * Share of a lithium-ion battery's energy that is left in the cold. Common practice, no source;
 * the direction and size agree with Ji, Zhang and Wang 2013, J. Electrochem. Soc. 160:A636.
 */
const COLD_SHARE: readonly (readonly [temperatureC: number, share: number])[] = [
  [-30, 0.3],
  [-20, 0.5],
  [-10, 0.7],
  [0, 0.85],
  [20, 1],
];

/** The share at a temperature, linear between the rows, the end rows' beyond them. */
export function batteryShareAt(temperatureC: number): number {
  const first = COLD_SHARE[0]!;
  if (temperatureC <= first[0]) return first[1];
  for (let index = 1; index < COLD_SHARE.length; index += 1) {
    const [lowC, low] = COLD_SHARE[index - 1]!;
    const [highC, high] = COLD_SHARE[index]!;
    if (temperatureC <= highC) return low + ((temperatureC - lowC) / (highC - lowC)) * (high - low);
  }
  return 1;
}

/** Hours that one charged battery of a kit lasts at a temperature. */
export function batteryHours(kit: Kit, temperatureC: number): number {
  return (kit.batteryWh * batteryShareAt(temperatureC)) / kit.cameraWatts;
}
