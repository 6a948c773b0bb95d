/** PTP's DateTime: `YYYYMMDDThhmmss`, then perhaps tenths and a zone. Source: ISO 15740, 5.3.3. */
const PTP_DATE = /^(\d{4})(\d{2})(\d{2})T(\d{2})(\d{2})(\d{2})(?:\.(\d+))?(Z|[+-]\d{4})?$/;

/**
 * What a camera writes as a file's capture date, in milliseconds.
 *
 * @param zoneMinutes  Minutes east of UTC that a text without a zone is in; 0: it is read as if it
 *   were UTC, and the difference to be found from frames whose opening is known.
 * @returns null when the text is empty or not a PTP date.
 * Source: ISO 15740 DateTime strings, from memory.
 */
export function captureDateMs(captureDate: string, zoneMinutes = 0): number | null {
  const parts = PTP_DATE.exec(captureDate.trim());
  if (parts === null) return null;
  const [, year, month, day, hour, minute, second, fraction = "", zone] = parts;
  const wall = Date.UTC(
    Number(year),
    Number(month) - 1,
    Number(day),
    Number(hour),
    Number(minute),
    Number(second),
    fraction === "" ? 0 : Math.round(Number(`0.${fraction}`) * 1000),
  );
  if (!Number.isFinite(wall)) return null;
  return wall - (zone === undefined ? zoneMinutes : minutesOf(zone)) * 60_000;
}

/** Minutes east of UTC, from Z or ±hhmm. */
function minutesOf(zone: string): number {
  if (zone === "Z") return 0;
  const sign = zone.startsWith("-") ? -1 : 1;
  return sign * (Number(zone.slice(1, 3)) * 60 + Number(zone.slice(3, 5)));
}
