import { NightError } from "../errors.ts";
import { wallMsOf } from "../wallTime.ts";
import { utcMs, type UtcMs } from "../units.ts";

/** First and last year a plan is made for: the ephemeris and the models are meant for our time. */
const YEAR_FIRST = 1900;
const YEAR_LAST = 2100;

/**
 * Milliseconds since 1970 of 00:00 UTC of a date written as `YYYY-MM-DD`.
 *
 * @throws NightError `settings.invalid` when it is no such text, no such day (31 February), or
 *   outside the years 1900 to 2100.
 */
export function startOfDateUtcMs(dateIso: string): UtcMs {
  const parts = /^(\d{4})-(\d{2})-(\d{2})$/.exec(dateIso);
  if (parts === null) {
    throw invalid(`The date must be written as YYYY-MM-DD, not "${dateIso}".`, dateIso);
  }
  const [year, month, day] = [Number(parts[1]), Number(parts[2]), Number(parts[3])];
  const startMs = wallMsOf([year, month, day, 0, 0, 0]);
  if (startMs === null) {
    throw invalid(`There is no ${dateIso} in the calendar.`, dateIso);
  }
  if (year < YEAR_FIRST || year > YEAR_LAST) {
    throw invalid(`The date must lie in the years ${YEAR_FIRST} to ${YEAR_LAST}.`, dateIso);
  }
  return utcMs(startMs);
}

function invalid(sentence: string, dateIso: string): NightError {
  return new NightError("settings.invalid", sentence, { dateIso });
}

/** A moment as ISO 8601 in UTC to the second: `2026-11-25T17:04:09Z`. */
export function isoOf(atUtcMs: number): string {
  return `${new Date(Math.round(atUtcMs / 1000) * 1000).toISOString().slice(0, 19)}Z`;
}

/** As `isoOf`; `null` stays `null`. */
export function isoOrNull(atUtcMs: number | null): string | null {
  return atUtcMs === null ? null : isoOf(atUtcMs);
}
