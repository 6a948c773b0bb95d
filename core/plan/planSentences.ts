import type { AuroraView } from "../sky/auroraView.ts";
import type { NightTimes } from "../sky/darkness.ts";
import { stopsOfMag } from "../sky/luminance.ts";

/** The darkness of a night, or its absence, in a sentence for people. */
export function darknessSentence(times: NightTimes): string {
  const { sun, civil, nautical, astronomical, sunAltitudeAtMiddleDeg: lowest } = times;
  const depth = `${Math.abs(lowest).toFixed(1)}° ${lowest < 0 ? "below" : "above"} the horizon`;
  if (sun.kind === "never") {
    return `Midnight sun: the Sun does not set; at its lowest it stands ${depth}.`;
  }
  if (civil.kind === "never") {
    return `White night: the Sun gets no lower than ${depth}, too light for aurora.`;
  }
  if (nautical.kind === "never") {
    return `Twilight all night: the Sun gets no lower than ${depth}; only bright aurora would show.`;
  }
  if (astronomical.kind === "never") {
    return `No full darkness: the Sun gets no lower than ${depth}; the sky stays faintly blue, aurora shows all the same.`;
  }
  const polar = sun.kind === "allDay" ? polarText(times.sunAltitudeHighestDeg) : "";
  if (astronomical.kind === "allDay") return `${polar}Fully dark around the clock.`;
  return `${polar}Fully dark for ${hoursText(astronomical.startUtcMs, astronomical.endUtcMs, times)}.`;
}

/**
 * The upper limb shows, lifted by refraction, down to −0.833° of the centre.
 * Source: standard altitude of sunrise, Meeus, Astronomical Algorithms, chapter 15 (from memory).
 */
function polarText(highestDeg: number): string {
  return highestDeg > -0.833
    ? "At noon the Sun only grazes the horizon. "
    : "Polar night: the Sun does not rise. ";
}

function hoursText(startMs: number | null, endMs: number | null, times: NightTimes): string {
  const ms = (endMs ?? times.searched.endMs) - (startMs ?? times.searched.startMs);
  const minutes = Math.round(ms / 60_000);
  const [hours, rest] = [Math.floor(minutes / 60), minutes % 60];
  return hours === 0 ? `${rest} min` : `${hours} h ${rest} min`;
}

/** Names of the eight phases by the Moon's elongation from the Sun. The trade's own words. */
const PHASE_NAMES = [
  "new Moon",
  "waxing crescent",
  "first quarter",
  "waxing gibbous",
  "full Moon",
  "waning gibbous",
  "last quarter",
  "waning crescent",
] as const;

/** @param elongationDeg  Ecliptic longitude from the Sun, 0 new, 90 first quarter, 180 full. */
export function moonPhaseName(elongationDeg: number): string {
  // The four turning points are named within 12°, about a day, of the moment.
  const quarter = Math.round(elongationDeg / 90);
  if (Math.abs(elongationDeg - 90 * quarter) <= 12) return PHASE_NAMES[(quarter % 4) * 2]!;
  return PHASE_NAMES[Math.floor(elongationDeg / 90) * 2 + 1]!;
}

/** What the Moon does to the sky of the watch, in a sentence for people. */
export function moonSentence(moon: {
  readonly presence: NightTimes["moon"]["kind"];
  readonly phaseName: string;
  readonly illuminatedFraction: number;
  readonly washMaxMag: number;
  readonly hasWatch: boolean;
  /** Above the horizon at some moment of the watch. */
  readonly isUpInWatch: boolean;
  /** Within the frame at some moment of the watch. */
  readonly isInFrame: boolean;
}): string {
  const lit = `${Math.round(moon.illuminatedFraction * 100)} % lit`;
  const name = moon.phaseName.charAt(0).toUpperCase() + moon.phaseName.slice(1);
  const stays =
    moon.presence === "upAllDay"
      ? ", above the horizon around the clock"
      : moon.presence === "downAllDay"
        ? ", below the horizon around the clock"
        : "";
  return `${name}, ${lit}${stays}. ${moonDoes(moon)}`;
}

function moonDoes(moon: {
  readonly presence: NightTimes["moon"]["kind"];
  readonly washMaxMag: number;
  readonly hasWatch: boolean;
  readonly isUpInWatch: boolean;
  readonly isInFrame: boolean;
}): string {
  if (!moon.hasWatch) return "No watch for it to disturb.";
  if (!moon.isUpInWatch && moon.presence !== "downAllDay")
    return "It is down throughout the watch.";
  const itself = moon.isInFrame ? " It comes into the frame itself: expect its glare there." : "";
  return `${washText(moon.washMaxMag)}${itself}`;
}

/**
 * Steps in magnitudes: a quiet arc of 1 kR equals the natural sky, 10 kR stand 2.5 magnitudes
 * above it (luminance of the 557.7 nm line).
 */
function washText(washMaxMag: number): string {
  if (washMaxMag < 0.1) return "It leaves the framed sky dark.";
  const stops = stopsOfMag(washMaxMag).toFixed(1);
  if (washMaxMag < 1)
    return `It brightens the framed sky by up to ${stops} stops: hardly in the way.`;
  if (washMaxMag < 2.5) {
    return `It brightens the framed sky by up to ${stops} stops: faint arcs drown, curtains stand out, the land is lit.`;
  }
  return `It brightens the framed sky by up to ${stops} stops: only bright curtains stand out, the land is lit.`;
}

/**
 * Smallest Kp for which aurora can be seen from here, in a sentence for people; on a night too light
 * for a watch, that none shows whatever the Kp.
 */
export function auroraSentence(views: readonly AuroraView[], hasWatch: boolean): string {
  if (!hasWatch) return "The sky stays too light to show any, whatever the Kp.";
  const first = (test: (view: AuroraView) => boolean): number | undefined => views.find(test)?.kp;
  const overhead = first(({ standing }) => standing === "overhead");
  const seen = first(({ standing }) => standing !== "belowHorizon");
  if (seen === undefined) return "Too far from the oval: no Kp brings aurora above this horizon.";
  const { side, standing } = views[seen]!;
  const height = standing === "high" ? "high up" : "low";
  const where = side === "equatorward" ? `${height} on the side of the equator` : height;
  if (seen === overhead) return `Under the oval from Kp ${seen}.`;
  const tops = standing === "topsOnly" ? " (at first only the tops of tall rays)" : "";
  const above = overhead === undefined ? "" : `; overhead from Kp ${overhead}`;
  return `Above the horizon from Kp ${seen}, ${where}${tops}${above}.`;
}

const STANDING_WORDS: Readonly<Record<AuroraView["standing"], string>> = {
  overhead: "overhead here",
  high: "high over this horizon",
  low: "low over this horizon",
  topsOnly: "only the tops of tall rays reach over this horizon",
  belowHorizon: "below this horizon",
};

/** What a Kp means here, in a few words: "4.3 brings aurora overhead here". */
export function auroraNowSentence(view: AuroraView): string {
  return `Kp ${view.kp.toFixed(1)} at midnight: ${STANDING_WORDS[view.standing]}.`;
}
