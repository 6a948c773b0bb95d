import type { Scheduling } from "../../core/words/timingWords.ts";
import { medianOfRising } from "../../core/statistics.ts";

/** Middle and reach of repeated measurements. */
export type Spread = {
  readonly median: number;
  readonly min: number;
  readonly max: number;
  readonly count: number;
};

/** One setting that was tried. */
export type SettingFigures = {
  readonly name: "ISO" | "f-number" | "exposure time";
  readonly values: readonly number[];
  /** What was asked for and what the camera then said it had. */
  readonly tried: readonly { readonly asked: number; readonly readBack: number | null }[];
  readonly isRestored: boolean;
};

/** One exposure that the host opened and closed; real milliseconds, exposures in seconds. */
export type ExposureFigures = {
  readonly askedSeconds: number;
  /** From the answer to opening to the sending of closing, in the camera's time. */
  readonly heldSeconds: number;
  /** What the file's Exif says; null: no file, or no such entry. */
  readonly exifSeconds: number | null;
  readonly openLatencyMs: number;
  readonly closeLatencyMs: number;
  /** From closing's answer to the opening that the camera then accepted; null for the last. */
  readonly deadMs: number | null;
  /** From closing's answer to the camera's naming of the file; null: never. */
  readonly namedMs: number | null;
};

/** One exposure by the camera's own timer. */
export type TimedFigures = {
  readonly askedSeconds: number;
  /** What the camera was set to; null: it does not say. */
  readonly setSeconds: number | null;
  /** What the file's Exif says; null: no file, or no such entry. */
  readonly exifSeconds: number | null;
  /** Whether the camera named a file for it, or the card had one. */
  readonly hasFile: boolean;
};

/** A step that came to nothing, and why. */
export type BenchTrouble = { readonly step: string; readonly sentence: string };

export type PreviewFigures = {
  readonly filename: string;
  readonly fileBytes: number;
  readonly fileMs: number | null;
  readonly thumbBytes: number | null;
  readonly thumbMs: number | null;
  /** First and largest piece that came, if the camera reads pieces. */
  readonly readsPieces: boolean;
};

/** Everything a bench check has found out about one camera. */
export type BenchFigures = {
  readonly label: string;
  readonly model: string;
  readonly serialNumber: string;
  /** The profile that the camera was worked by. */
  readonly profileId: string;
  readonly place: string;
  /** How the system schedules whatever moves the shutter; null: not known yet. */
  readonly scheduling: Scheduling | null;
  readonly vendorExtensionId: number;
  readonly firmware: string;
  readonly program: "manual" | "other" | "unknown";
  readonly focus: "manual" | "automatic" | "unknown";
  readonly clockOffsetMs: number | null;
  readonly roundTripMs: Spread;
  readonly settings: readonly SettingFigures[];
  /** Exposures by bulb before the latency was known, then after. */
  readonly bulb: readonly ExposureFigures[];
  readonly compensated: readonly ExposureFigures[];
  /** Median of Exif less held, real ms; null: no bulb, or Exif too coarse to tell. */
  readonly bulbExcessMs: number | null;
  /** Why there is no excess, when there is none. */
  readonly bulbRemark: string | null;
  /** Exposures by the camera's own timer. */
  readonly timed: readonly TimedFigures[];
  /** Why there is none, when there is none. */
  readonly timedRemark: string | null;
  /** Whether the device offers any way to expose over its cable. */
  readonly offersCapture: boolean;
  readonly troubles: readonly BenchTrouble[];
  readonly preview: PreviewFigures | null;
  /** Event codes that came, with how often. */
  readonly events: readonly { readonly code: number; readonly count: number }[];
  readonly battery: {
    readonly beforePercent: number | null;
    readonly afterPercent: number | null;
    readonly frames: number;
  };
};

/** @returns null for nothing. */
export function spreadOf(values: readonly number[]): Spread | null {
  const sorted = [...values].sort((a, b) => a - b);
  const [min] = sorted;
  const max = sorted.at(-1);
  if (min === undefined || max === undefined) return null;
  return { median: medianOfRising(sorted), min, max, count: sorted.length };
}

/** Exif less asked of each frame whose file tells, in seconds. */
export function errorsOf(exposures: readonly ExposureFigures[]): readonly number[] {
  return exposures.flatMap(({ exifSeconds, askedSeconds }) =>
    exifSeconds === null ? [] : [exifSeconds - askedSeconds],
  );
}

/**
 * What an exposure is longer than the host held it, real milliseconds; or why that cannot be known.
 *
 * Many cameras round a bulb exposure in Exif to the second or to a third-stop name. The held times
 * differ by microseconds at random, so that values which all lie on tenths are rounded ones.
 */
export function excessOf(
  exposures: readonly ExposureFigures[],
  rate: number,
): { readonly excessMs: number | null; readonly remark: string | null } {
  const reported = exposures.filter(({ exifSeconds }) => exifSeconds !== null);
  if (reported.length === 0) return { excessMs: null, remark: "no file reported its exposure" };
  const isRounded = reported.every(({ exifSeconds }) => isOnTenth(exifSeconds!));
  if (isRounded) {
    return { excessMs: null, remark: "the files round their exposure; latency cannot be known" };
  }
  const excess = reported.map(
    ({ exifSeconds, heldSeconds }) => ((exifSeconds! - heldSeconds) * 1000) / rate,
  );
  return { excessMs: spreadOf(excess)!.median, remark: null };
}

/**
 * Whether what was taken off brought the exposures nearer to what was asked, by the files' own word.
 * With no file that tells, it did not.
 */
export function hasHelped(
  before: readonly ExposureFigures[],
  after: readonly ExposureFigures[],
): boolean {
  const [was, is] = [spreadOf(errorsOf(before)), spreadOf(errorsOf(after))];
  return was !== null && is !== null && Math.abs(is.median) < Math.abs(was.median);
}

function isOnTenth(exposureSeconds: number): boolean {
  return Math.abs(exposureSeconds * 10 - Math.round(exposureSeconds * 10)) < 1e-6;
}

/**
 * Frames from a full battery at this pace.
 * @returns null when the level cannot be read; `isAtLeast` when it did not fall during the check.
 */
export function batteryFrames(
  battery: BenchFigures["battery"],
): { readonly frames: number; readonly isAtLeast: boolean } | null {
  const { beforePercent, afterPercent, frames } = battery;
  if (beforePercent === null || afterPercent === null || frames === 0) return null;
  const fallen = beforePercent - afterPercent;
  // A level that stood still may have been just above its next step.
  if (fallen <= 0) return { frames: frames * 100, isAtLeast: true };
  return { frames: Math.round((frames * 100) / fallen), isAtLeast: false };
}
