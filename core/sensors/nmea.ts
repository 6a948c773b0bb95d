import { wallMsOf } from "../wallTime.ts";
import { utcMs, type UtcMs } from "../units.ts";

/** What one sentence of a GNSS receiver says; fields that it does not carry are null. */
type GnssFix = {
  /** Null where the sentence has no date (GGA, GLL) or the date is in doubt. */
  readonly utcMs: UtcMs | null;
  readonly latitudeDeg: number | null;
  readonly longitudeDeg: number | null;
  readonly altitudeM: number | null;
  readonly satelliteCount: number | null;
};

/** Why a line gave no fix: said in the log, never to the photographer. */
type NmeaOutcome =
  | { readonly kind: "fix"; readonly fix: GnssFix }
  | { readonly kind: "noFix"; readonly why: string }
  | { readonly kind: "rejected"; readonly why: string };

/**
 * Reads one NMEA 0183 sentence. Any talker is accepted; RMC, GGA, GLL and ZDA are understood.
 *
 * A date before `earliestUtcMs` is rejected: receivers whose week counter has rolled over report
 * dates 19.6 years off.
 *
 * Source: NMEA 0183 as restated by receiver handbooks (checksum: exclusive or of all bytes between
 * `$` and `*`); rejecting early dates: common practice, no source.
 */
export function readNmea(line: string, earliestUtcMs: UtcMs): NmeaOutcome {
  const sentence = sentenceOf(line);
  if (sentence.kind === "rejected") return sentence;
  const { type, body } = sentence;
  const fields = body.split(",");
  switch (type) {
    case "RMC":
      return readRmc(fields, earliestUtcMs);
    case "GGA":
      return readGga(fields);
    case "GLL":
      return readGll(fields);
    case "ZDA":
      return readZda(fields, earliestUtcMs);
    default:
      return { kind: "noFix", why: `sentences of type ${type} are not used` };
  }
}

/** Whether a line is a sentence of NMEA 0183, whatever it says. */
export function isNmeaSentence(line: string): boolean {
  return sentenceOf(line).kind === "sentence";
}

function sentenceOf(
  line: string,
):
  | { readonly kind: "sentence"; readonly type: string; readonly body: string }
  | { readonly kind: "rejected"; readonly why: string } {
  const match = /^\$([A-Z]{2})([A-Z]{3}),([^*]*)\*([0-9A-Fa-f]{2})\s*$/.exec(line.trim());
  if (!match) return { kind: "rejected", why: "no sentence with a checksum" };
  const [, talker = "", type = "", body = "", checksum = ""] = match;
  return checksumOf(`${talker}${type},${body}`) === parseInt(checksum, 16)
    ? { kind: "sentence", type, body }
    : { kind: "rejected", why: "the checksum is wrong" };
}

/** Exclusive or of the characters' codes. */
export function checksumOf(text: string): number {
  let sum = 0;
  for (let index = 0; index < text.length; index += 1) sum ^= text.charCodeAt(index);
  return sum;
}

function readRmc(fields: readonly string[], earliestUtcMs: UtcMs): NmeaOutcome {
  const [time, status, lat, northSouth, lon, eastWest, , , date] = fields;
  const mode = fields[11];
  if (status !== "A" || mode === "N") return { kind: "noFix", why: "the receiver has no fix yet" };
  const day = /^(\d\d)(\d\d)(\d\d)$/.exec(date ?? "");
  const at = day
    ? instant(time, { day: +day[1]!, month: +day[2]!, year: centuryOf(+day[3]!) + +day[3]! })
    : null;
  if (at !== null && at < earliestUtcMs) {
    return { kind: "rejected", why: "the receiver's date is years off" };
  }
  return fix({ utcMs: at, ...position(lat, northSouth, lon, eastWest) });
}

/** GNSS began in 1980: a two-digit year from 80 on is of the last century. */
function centuryOf(year: number): number {
  return year >= 80 ? 1900 : 2000;
}

function readGga(fields: readonly string[]): NmeaOutcome {
  const [, lat, northSouth, lon, eastWest, quality, satellites, , altitude] = fields;
  if (quality === "0" || quality === "" || quality === undefined) {
    return { kind: "noFix", why: "the receiver has no fix yet" };
  }
  return fix({
    ...position(lat, northSouth, lon, eastWest),
    altitudeM: numberIn(altitude),
    satelliteCount: numberIn(satellites),
  });
}

function readGll(fields: readonly string[]): NmeaOutcome {
  const [lat, northSouth, lon, eastWest, , status, mode] = fields;
  if (status === "V" || mode === "N") return { kind: "noFix", why: "the receiver has no fix yet" };
  return fix(position(lat, northSouth, lon, eastWest));
}

function readZda(fields: readonly string[], earliestUtcMs: UtcMs): NmeaOutcome {
  const [time, day, month, year] = fields;
  const at = instant(time, { day: Number(day), month: Number(month), year: Number(year) });
  if (at === null) return { kind: "noFix", why: "the receiver does not know the time yet" };
  if (at < earliestUtcMs) return { kind: "rejected", why: "the receiver's date is years off" };
  return fix({ utcMs: at });
}

function fix(known: Partial<GnssFix>): NmeaOutcome {
  return {
    kind: "fix",
    fix: {
      utcMs: null,
      latitudeDeg: null,
      longitudeDeg: null,
      altitudeM: null,
      satelliteCount: null,
      ...known,
    },
  };
}

function position(
  lat: string | undefined,
  northSouth: string | undefined,
  lon: string | undefined,
  eastWest: string | undefined,
): Pick<GnssFix, "latitudeDeg" | "longitudeDeg"> {
  return {
    latitudeDeg: degrees(lat, 2, northSouth, { positive: "N", negative: "S", max: 90 }),
    longitudeDeg: degrees(lon, 3, eastWest, { positive: "E", negative: "W", max: 180 }),
  };
}

/** Degrees from ddmm.mmm; null when the field is empty or senseless. */
function degrees(
  text: string | undefined,
  degreeDigits: number,
  side: string | undefined,
  limits: { readonly positive: string; readonly negative: string; readonly max: number },
): number | null {
  if (!text || !/^\d+(\.\d+)?$/.test(text)) return null;
  const minutes = Number(text.slice(degreeDigits));
  const value = Number(text.slice(0, degreeDigits)) + minutes / 60;
  if (!(minutes < 60) || !(value <= limits.max)) return null;
  if (side === limits.positive) return value;
  return side === limits.negative ? -value : null;
}

function instant(
  time: string | undefined,
  date: { readonly year: number; readonly month: number; readonly day: number },
): UtcMs | null {
  const clock = /^(\d\d)(\d\d)(\d\d(?:\.\d+)?)$/.exec(time ?? "");
  if (!clock) return null;
  const { year, month, day } = date;
  const dayMs = wallMsOf([year, month, day, 0, 0, 0]);
  if (dayMs === null) return null;
  const seconds = Number(clock[1]) * 3600 + Number(clock[2]) * 60 + Number(clock[3]);
  return seconds < 86_401 ? utcMs(Math.round(dayMs + seconds * 1000)) : null;
}

function numberIn(text: string | undefined): number | null {
  return text !== undefined && /^-?\d+(\.\d+)?$/.test(text) ? Number(text) : null;
}
