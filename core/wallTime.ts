/** The fields of a date and time as somebody writes them: months from 1. */
export type WallFields = readonly [
  year: number,
  month: number,
  day: number,
  hour: number,
  minute: number,
  second: number,
];

/**
 * The moment of a written date and time, read as if it were UTC, milliseconds since 1970.
 *
 * @returns null when there is no such moment: `Date.UTC` takes 31 February for 3 March, and a
 *   camera or a receiver that writes it is not believed.
 */
export function wallMsOf([year, month, day, hour, minute, second]: WallFields): number | null {
  const wallMs = Date.UTC(year, month - 1, day, hour, minute, second);
  if (!Number.isFinite(wallMs)) return null;
  const back = new Date(wallMs);
  const isReal =
    back.getUTCFullYear() === year &&
    back.getUTCMonth() === month - 1 &&
    back.getUTCDate() === day &&
    back.getUTCHours() === hour &&
    back.getUTCMinutes() === minute &&
    back.getUTCSeconds() === Math.floor(second);
  return isReal ? wallMs : null;
}

/** The milliseconds of the digits behind a second's decimal point; none: 0. */
export function fractionMsOf(digits: string): number {
  return Math.round(Number(`0.${digits || "0"}`) * 1000);
}
