import { isoOf } from "../sky/calendarDate.ts";
import type { Darkness, NightTimes } from "../sky/darkness.ts";

/** When to watch: from dark enough to before the Sun is back. */
export type PlanWatch = {
  readonly start: string;
  readonly end: string;
  readonly hours: number;
  /** What bounds it: nautical darkness, or only civil twilight's end where nautical never comes. */
  readonly by: "nautical" | "civil";
  readonly sentence: string;
};

/** A watch's bounds, and the darkness that they belong to. */
type WatchHours = {
  readonly startUtcMs: number;
  readonly endUtcMs: number;
  readonly by: PlanWatch["by"];
};

/**
 * The watch of a night: while the Sun is below −12°; where it never gets there, while below −6°;
 * `null` where it stays above that.
 *
 * It always ends before sunrise, so that the Sun never stands on a lens left running. Where the
 * darkness has no end within the searched day the watch covers all of it.
 * Common practice, no source: aurora begins to show between civil and nautical darkness.
 */
export function watchHours(times: NightTimes): WatchHours | null {
  const by = times.nautical.kind !== "never" ? "nautical" : "civil";
  const darkness: Darkness = times[by];
  if (darkness.kind === "never") return null;
  return {
    startUtcMs: darkness.startUtcMs ?? times.searched.startMs,
    endUtcMs: darkness.endUtcMs ?? times.searched.endMs,
    by,
  };
}

/** The same watch as the plan writes it down, with a sentence; see `watchHours`. */
export function planWatch(times: NightTimes): PlanWatch | null {
  const hours = watchHours(times);
  if (hours === null) return null;
  const { startUtcMs, endUtcMs, by } = hours;
  return {
    start: isoOf(startUtcMs),
    end: isoOf(endUtcMs),
    hours: (endUtcMs - startUtcMs) / 3_600_000,
    by,
    sentence: sentenceOf(times, by),
  };
}

function sentenceOf(times: NightTimes, by: PlanWatch["by"]): string {
  const level = by === "nautical" ? "−12°" : "−6°";
  const light = by === "civil" ? " The sky stays light: only bright aurora will show." : "";
  if (times.sunriseUtcMs === null) {
    return `The watch runs while the Sun is below ${level}; it does not rise tonight.${light}`;
  }
  return `The watch runs while the Sun is below ${level} and ends before sunrise: cap the lens then.${light}`;
}
