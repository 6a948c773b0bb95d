import { NightError } from "../errors.ts";
import { startOfDateUtcMs } from "./calendarDate.ts";

const HOUR_MS = 3_600_000;
const DAY_MS = 24 * HOUR_MS;

/** By what a date is an evening's: the longitude, or a civil zone (IANA name) that somebody named. */
type EveningOf = { readonly longitudeDeg: number; readonly zone: string | null };

/**
 * The local mean solar noon of a date: 12:00 less four minutes per degree east.
 *
 * With a zone, the noon on which that zone's calendar shows the date: where civil time does not match
 * the longitude (Chukotka, the Aleutians, ±180°) it is a day from the longitude's own. Without one, the
 * same date at 180° and −180° begins a day apart.
 *
 * @throws NightError `settings.invalid` for a date or a zone that is none, or a date that the zone left out.
 */
export function meanSolarNoonUtcMs(dateIso: string, { longitudeDeg, zone }: EveningOf): number {
  const byLongitude = startOfDateUtcMs(dateIso) + 12 * HOUR_MS - (longitudeDeg / 15) * HOUR_MS;
  if (zone === null) return byLongitude;
  const dateOf = calendarOf(zone);
  const noon = [0, -1, 1]
    .map((days) => byLongitude + days * DAY_MS)
    .find((noonMs) => dateOf(noonMs) === dateIso);
  if (noon === undefined) {
    throw new NightError("settings.invalid", `There is no ${dateIso} in the zone ${zone}.`);
  }
  return noon;
}

/** The evening that a moment belongs to, `YYYY-MM-DD`: until noon it is still yesterday's. */
export function eveningDate(utcMs: number, { longitudeDeg, zone }: EveningOf): string {
  const solarMs = utcMs + (longitudeDeg / 15) * HOUR_MS;
  const noonSolarMs = Math.floor(solarMs / DAY_MS - 0.5) * DAY_MS + 12 * HOUR_MS;
  if (zone === null) return new Date(noonSolarMs).toISOString().slice(0, 10);
  return calendarOf(zone)(noonSolarMs - (longitudeDeg / 15) * HOUR_MS);
}

/** The date that a zone's calendar shows at a moment. */
function calendarOf(zone: string): (atUtcMs: number) => string {
  const shape = { year: "numeric", month: "2-digit", day: "2-digit", timeZone: zone } as const;
  const format = zoneFormat(zone, shape);
  return (atUtcMs) => {
    const part = (type: string): string =>
      format.formatToParts(atUtcMs).find((found) => found.type === type)?.value ?? "";
    return `${part("year")}-${part("month")}-${part("day")}`;
  };
}

function zoneFormat(zone: string, shape: Intl.DateTimeFormatOptions): Intl.DateTimeFormat {
  try {
    return new Intl.DateTimeFormat("en-GB", shape);
  } catch (thrown) {
    const sentence = `There is no time zone "${zone}"; write it as in Europe/Helsinki.`;
    throw new NightError("settings.invalid", sentence, {}, { cause: thrown });
  }
}
