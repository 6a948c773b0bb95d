import { FOCAL_PLANE_FACTOR, MID_GREY_LUX_SECONDS_ISO } from "./exposure.ts";
import { usableIsos } from "./ladder.ts";
import type { ExposureSettings } from "./settings.ts";

/** What held the exposure where it is. */
export type ExposureLimit =
  | "none"
  /** At the longest exposure and the highest ISO: the sky stays darker than wanted. */
  | "longest"
  /** At the shortest exposure and the lowest ISO: the sky stays brighter than wanted. */
  | "shortest"
  /** ISO is at its cap, so that brightness wins over the curtains' smear. */
  | "isoCap"
  /** ISO is at its lowest, and the exposure shorter than it might be. */
  | "isoFloor"
  /** The exposure is kept short for moving curtains. */
  | "curtains"
  /** Darker than the target, for the brightest parts. */
  | "highlights";

/** How a dose was split into time and ISO. */
export type Allocation = {
  readonly exposureSeconds: number;
  readonly iso: number;
  readonly limit: ExposureLimit;
  /** False when no exposure within the limits gives the dose. */
  readonly isReachable: boolean;
};

/** Longest and shortest exposure that the settings allow at all, seconds. */
export function timeLimits(settings: ExposureSettings): { min: number; max: number } {
  const min = positive(settings.exposureSecondsMin, 0.001);
  const byInterval =
    settings.intervalSeconds > 0 ? settings.intervalSeconds - settings.busySeconds : Infinity;
  const max = Math.min(positive(settings.exposureSecondsMax, min), byInterval);
  return { min, max: Math.max(min, max) };
}

function positive(value: number, otherwise: number): number {
  return Number.isFinite(value) && value > 0 ? value : otherwise;
}

/**
 * Exposure time × ISO that records a sky of this level this many stops from mid-grey.
 *
 * @param level  log2 of the mean luminance in cd/m².
 */
export function secondsIsoFor(
  level: number,
  stops: number,
  { fNumber }: Pick<ExposureSettings, "fNumber">,
): number {
  return (2 ** (stops - level) * MID_GREY_LUX_SECONDS_ISO * fNumber ** 2) / FOCAL_PLANE_FACTOR;
}

/** ISO is lowered only when it can drop by a rung and this many stops more; keeps it from flapping. */
const ISO_HOLD_STOPS = 1 / 3;

/**
 * Splits a dose into time and ISO: the longest exposure that trails and curtains allow at the
 * lowest ISO that this leaves, exact seconds against the steps of the ladder, the ISO of the frame
 * before held while that costs less than a third of a stop of ISO.
 *
 * When ISO is at its cap, brightness wins over the curtains' smear; the longest exposure (star
 * trails) stays a hard limit.
 *
 * @param secondsIso  Wanted exposure time × ISO, > 0.
 * @param curtainSeconds  Longest exposure that keeps curtains crisp; Infinity: nothing moves.
 * @param heldIso  ISO of the frame before; null: none.
 */
export function allocate(
  secondsIso: number,
  constraints: { readonly curtainSeconds: number; readonly heldIso: number | null },
  settings: ExposureSettings,
): Allocation {
  const { min, max } = timeLimits(settings);
  const isos = usableIsos(settings.isoLadder, settings);
  const crisp = Math.min(max, Math.max(min, constraints.curtainSeconds));
  const iso = chooseIso(secondsIso, crisp, isos, constraints.heldIso);
  const seconds = secondsIso / iso;
  const isoCap = isos.at(-1)!;
  const exposureSeconds = Math.min(max, Math.max(min, seconds));
  const slack = 1e-9;
  if (seconds > max * (1 + slack)) {
    return { exposureSeconds, iso, limit: "longest", isReachable: false };
  }
  if (seconds < min * (1 - slack)) {
    return { exposureSeconds, iso, limit: "shortest", isReachable: false };
  }
  const limit = limitOf({ exposureSeconds, iso, crisp, max, isoFloor: isos[0]!, isoCap });
  return { exposureSeconds, iso, limit, isReachable: true };
}

/**
 * The exposure that was asked for, on the ladder. What lies outside the limits (a dark sky's dose
 * given as minutes at the lowest ISO) is split like any other dose: it is the light that is wanted.
 */
export function asAsked(
  asked: { readonly exposureSeconds: number; readonly iso: number },
  settings: ExposureSettings,
): Allocation {
  const { min, max } = timeLimits(settings);
  const isos = usableIsos(settings.isoLadder, settings);
  const exposureSeconds = positive(asked.exposureSeconds, max);
  const wantedIso = positive(asked.iso, isos[0]!);
  if (exposureSeconds < min || exposureSeconds > max) {
    const free = { curtainSeconds: Infinity, heldIso: null };
    return allocate(exposureSeconds * wantedIso, free, settings);
  }
  const distance = (iso: number): number => Math.abs(Math.log2(iso / wantedIso));
  const iso = isos.reduce((best, rung) => (distance(rung) < distance(best) ? rung : best));
  return { exposureSeconds, iso, limit: "none", isReachable: true };
}

function chooseIso(
  secondsIso: number,
  longest: number,
  isos: readonly number[],
  heldIso: number | null,
): number {
  const fits = (iso: number): boolean => secondsIso / iso <= longest * (1 + 1e-9);
  const lowest = isos.find(fits) ?? isos.at(-1)!;
  if (heldIso === null || !isos.includes(heldIso) || !fits(heldIso)) return lowest;
  const rungBelow = isos[isos.indexOf(heldIso) - 1];
  if (rungBelow === undefined) return heldIso;
  const room = Math.log2((longest * rungBelow) / secondsIso);
  return room < ISO_HOLD_STOPS ? heldIso : lowest;
}

function limitOf(split: {
  exposureSeconds: number;
  iso: number;
  crisp: number;
  max: number;
  isoFloor: number;
  isoCap: number;
}): ExposureLimit {
  const { exposureSeconds, iso, crisp, max, isoFloor, isoCap } = split;
  if (iso === isoCap && isoCap > isoFloor && exposureSeconds > crisp * 1.000001) return "isoCap";
  if (iso === isoFloor && exposureSeconds < 0.999 * crisp) return "isoFloor";
  if (crisp < 0.999 * max) return "curtains";
  return "none";
}
