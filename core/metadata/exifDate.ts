import { fractionMsOf, wallMsOf, type WallFields } from "../wallTime.ts";

/**
 * An Exif date with its fraction of a second, milliseconds as if it were UTC: Exif before 2.31 names
 * no zone, so only differences between dates of one camera mean anything.
 *
 * @param date  As in "2026:11:30 22:15:30", whatever a file's reader makes of it.
 * @param subSeconds  Digits behind the decimal point, as in "25"; anything else counts as none.
 * @returns null when it is no such text, or no moment of the calendar.
 * Source: CIPA DC-008 (Exif 2.32), DateTimeOriginal and SubSecTimeOriginal.
 */
export function exifDateMs(date: unknown, subSeconds: unknown): number | null {
  const match = /^(\d{4}):(\d\d):(\d\d) (\d\d):(\d\d):(\d\d)/.exec(String(date));
  if (match === null) return null;
  const wholeMs = wallMsOf(match.slice(1).map(Number) as unknown as WallFields);
  const [digits] = /^\d+/.exec(String(subSeconds ?? "").trim()) ?? [""];
  return wholeMs === null ? null : wholeMs + fractionMsOf(digits);
}
