import { fractionMsOf, wallMsOf } from "../wallTime.ts";
import { utcMs, type UtcMs } from "../units.ts";

/** A moment as a device writes it; without an offset nobody knows the zone. */
export type PtpDateTime = {
  /** The written fields read as if they were UTC, milliseconds. */
  readonly wallMs: number;
  /** Minutes east of UTC; null: the device did not say. */
  readonly offsetMinutes: number | null;
};

const PATTERN =
  /^(\d{4})(\d{2})(\d{2})T(\d{2})(\d{2})(\d{2})(?:\.(\d+))?(?:(Z)|([+-])(\d{2})(\d{2}))?$/;

/**
 * Reads `YYYYMMDDThhmmss[.s…][Z|±hhmm]`. Null for anything else, the empty string of "unknown" and
 * dates that do not exist included: devices write garbage, and that is no failure.
 * Source: MTP 1.1 §3.2.5.
 */
export function parseDateTime(text: string): PtpDateTime | null {
  const match = PATTERN.exec(text.trim());
  if (match === null) return null;
  const field = (index: number): number => Number(match[index] ?? 0);
  const wholeMs = wallMsOf([field(1), field(2), field(3), field(4), field(5), field(6)]);
  if (wholeMs === null) return null;
  const sign = match[9] === "-" ? -1 : 1;
  const hasOffset = match[8] !== undefined || match[9] !== undefined;
  return {
    wallMs: wholeMs + fractionMsOf(match[7] ?? ""),
    offsetMinutes: hasOffset ? sign * (field(10) * 60 + field(11)) : null,
  };
}

/**
 * Writes a moment, to the tenth of a second when it has a fraction and `withTenths` is set.
 * Source: MTP 1.1 §3.2.5.
 */
export function formatDateTime(
  moment: PtpDateTime,
  options: { readonly withTenths?: boolean } = {},
): string {
  const iso = new Date(moment.wallMs).toISOString();
  const whole = iso.slice(0, 19).replaceAll("-", "").replaceAll(":", "");
  const tenths = options.withTenths === true ? `.${iso.slice(20, 21)}` : "";
  return whole + tenths + formatOffset(moment.offsetMinutes);
}

/**
 * The moment in UTC.
 * @param assumedOffsetMinutes  Used where the device did not say its zone; minutes east of UTC.
 */
export function dateTimeUtcMs(moment: PtpDateTime, assumedOffsetMinutes: number): UtcMs {
  return utcMs(moment.wallMs - (moment.offsetMinutes ?? assumedOffsetMinutes) * 60_000);
}

function formatOffset(offsetMinutes: number | null): string {
  if (offsetMinutes === null) return "";
  if (offsetMinutes === 0) return "Z";
  const minutes = Math.abs(offsetMinutes);
  const two = (value: number): string => String(value).padStart(2, "0");
  return `${offsetMinutes < 0 ? "-" : "+"}${two(Math.floor(minutes / 60))}${two(minutes % 60)}`;
}

/**
 * What a camera writes as a file's capture date, in milliseconds.
 *
 * @param zoneMinutes  Minutes east of UTC that a text without a zone is in; 0: it is read as if it
 *   were UTC, and the difference to be found from frames whose opening is known.
 * @returns null when the text is empty or names no real moment.
 */
export function captureDateMs(captureDate: string, zoneMinutes = 0): UtcMs | null {
  const moment = parseDateTime(captureDate);
  return moment === null ? null : dateTimeUtcMs(moment, zoneMinutes);
}
