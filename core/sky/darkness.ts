import { crossingsOf, lowestMs, type Crossing, type Stretch } from "./crossings.ts";
import { sunPosition } from "./ephemeris.ts";
import { meanSolarNoonUtcMs } from "./evening.ts";
import type { Place } from "./place.ts";
import { SUN_RISE_ALTITUDE_DEG, upperLimbDeg } from "./riseAndSet.ts";

const HOUR_MS = 3_600_000;

/** Altitude of the Sun's centre, without refraction, at which each darkness begins. By definition. */
export const DARKNESS_ALTITUDE_DEG = { civil: -6, nautical: -12, astronomical: -18 } as const;

/** Whether the Sun stays above a level, dips below it for a while, or stays below it. */
export type DarknessKind = "window" | "never" | "allDay";

/**
 * One darkness of a night. Of a `window` an end is `null` when the level is not passed within the
 * searched day, as on the few dates a year on which the polar night begins or ends.
 */
export type Darkness = {
  readonly kind: DarknessKind;
  readonly startUtcMs: number | null;
  readonly endUtcMs: number | null;
};

/** Sun and Moon of one night, times in milliseconds since 1970. */
export type NightTimes = {
  /** The 24 hours that were searched: from local mean solar noon to the next. */
  readonly searched: Stretch;
  /** The moment at which the Sun stands lowest. */
  readonly middleUtcMs: number;
  readonly sunAltitudeAtMiddleDeg: number;
  /** Highest it gets within the searched day. */
  readonly sunAltitudeHighestDeg: number;
  /**
   * The almanac's, upper limb and 34′ of refraction: the set before and the rise after the night's
   * middle; where the searched day has only one on the other side of it, that one; else `null`.
   */
  readonly sunsetUtcMs: number | null;
  readonly sunriseUtcMs: number | null;
  /** The whole Sun below the horizon, by the almanac's rise and set. */
  readonly sun: Darkness;
  readonly civil: Darkness;
  readonly nautical: Darkness;
  readonly astronomical: Darkness;
  readonly moon: MoonTimes;
};

/**
 * The Moon's first rise and first set within the searched day, by the almanac: upper limb as seen from
 * the place, 34′ of refraction.
 */
type MoonTimes = {
  readonly kind: "risesOrSets" | "upAllDay" | "downAllDay";
  readonly riseUtcMs: number | null;
  readonly setUtcMs: number | null;
};

/**
 * Sunset, the three twilights, sunrise, moonrise and moonset of the night that follows a date's
 * local mean solar noon.
 *
 * @param zone  In whose calendar the date is the evening's; `null`: by longitude.
 * @throws NightError `settings.invalid` for a date that is none.
 */
export function nightTimes(dateIso: string, place: Place, zone: string | null = null): NightTimes {
  const startMs = meanSolarNoonUtcMs(dateIso, { longitudeDeg: place.longitudeDeg, zone });
  const searched = { startMs, endMs: startMs + 24 * HOUR_MS };
  // Every level is looked for along the same samples.
  const sunAltitude = remembered((atMs) => sunPosition(atMs, place).altitudeDeg);
  const middleUtcMs = lowestMs(sunAltitude, searched);
  const below = (level: number): Darkness =>
    darknessBelow(crossingsOf(sunAltitude, level, searched), {
      middleMs: middleUtcMs,
      isBelow: sunAltitude(middleUtcMs) < level,
    });
  const atHorizon = crossingsOf(sunAltitude, SUN_RISE_ALTITUDE_DEG, searched);
  const sun = below(SUN_RISE_ALTITUDE_DEG);
  return {
    searched,
    middleUtcMs,
    sunsetUtcMs: sun.startUtcMs ?? firstOf(atHorizon, "falling"),
    sunriseUtcMs: sun.endUtcMs ?? firstOf(atHorizon, "rising"),
    sunAltitudeAtMiddleDeg: sunAltitude(middleUtcMs),
    sunAltitudeHighestDeg: sunAltitude(lowestMs((atMs) => -sunAltitude(atMs), searched)),
    sun,
    civil: below(DARKNESS_ALTITUDE_DEG.civil),
    nautical: below(DARKNESS_ALTITUDE_DEG.nautical),
    astronomical: below(DARKNESS_ALTITUDE_DEG.astronomical),
    moon: moonTimes(searched, place),
  };
}

/** The same curve, worked out once for every moment asked. */
function remembered(curve: (atMs: number) => number): (atMs: number) => number {
  const known = new Map<number, number>();
  return (atMs) => {
    const value = known.get(atMs) ?? curve(atMs);
    known.set(atMs, value);
    return value;
  };
}

function darknessBelow(
  crossings: readonly Crossing[],
  { middleMs, isBelow }: { middleMs: number; isBelow: boolean },
): Darkness {
  if (!isBelow) return { kind: "never", startUtcMs: null, endUtcMs: null };
  if (crossings.length === 0) return { kind: "allDay", startUtcMs: null, endUtcMs: null };
  const start = crossings.findLast(({ atMs }) => atMs <= middleMs);
  const end = crossings.find(({ atMs }) => atMs > middleMs);
  return { kind: "window", startUtcMs: start?.atMs ?? null, endUtcMs: end?.atMs ?? null };
}

function moonTimes(searched: Stretch, place: Place): MoonTimes {
  const altitude = remembered((atMs) => upperLimbDeg("moon", atMs, place));
  const crossings = crossingsOf(altitude, 0, searched);
  if (crossings.length === 0) {
    const kind = altitude(searched.startMs) > 0 ? "upAllDay" : "downAllDay";
    return { kind, riseUtcMs: null, setUtcMs: null };
  }
  return {
    kind: "risesOrSets",
    riseUtcMs: firstOf(crossings, "rising"),
    setUtcMs: firstOf(crossings, "falling"),
  };
}

function firstOf(crossings: readonly Crossing[], direction: Crossing["direction"]): number | null {
  return crossings.find((crossing) => crossing.direction === direction)?.atMs ?? null;
}
