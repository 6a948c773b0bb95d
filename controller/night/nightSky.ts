import { stopsFromMidGrey, type Exposure } from "../../core/exposure/exposure.ts";
import type { ExposureSettings } from "../../core/exposure/settings.ts";
import { watchHours } from "../../core/plan/watchWindow.ts";
import type { SkyDirection } from "../../core/sky/angles.ts";
import { isoOf } from "../../core/sky/calendarDate.ts";
import { crossingsOf } from "../../core/sky/crossings.ts";
import { DARKNESS_ALTITUDE_DEG, nightTimes } from "../../core/sky/darkness.ts";
import { sunPosition } from "../../core/sky/ephemeris.ts";
import type { Place } from "../../core/sky/place.ts";
import { DEFAULT_SKY_CONDITIONS, skyBrightness } from "../../core/sky/skyBrightness.ts";
import { utcMs, type UtcMs } from "../../core/units.ts";

const DAY_MS = 86_400_000;
const TWILIGHT_ENDS_DEG = DARKNESS_ALTITUDE_DEG.civil;

/** When a watch is to begin and to end by the Sun. */
type WatchAhead = { readonly startUtcMs: UtcMs; readonly endUtcMs: UtcMs };

/**
 * The plan's watch of the night that a moment belongs to or, when that one is over, of the next
 * one; null: the nights are too light. A watch that is begun by hand in the morning twilight, after
 * the plan's end, still ends when the Sun passes −6°: it must not run into the day.
 */
export function watchAhead(at: UtcMs, place: Place): WatchAhead | null {
  const tonight = watchOf(at, place);
  if (tonight !== null && at < tonight.endUtcMs) return tonight;
  const tomorrow = watchOf(utcMs(at + DAY_MS), place);
  const isTwilight = tonight !== null && sunPosition(at, place).altitudeDeg <= TWILIGHT_ENDS_DEG;
  const lastCall = isTwilight ? nextDawn(at, place) : null;
  return lastCall === null ? tomorrow : { startUtcMs: at, endUtcMs: lastCall };
}

/** The plan's own rule for the night between one local noon and the next. */
function watchOf(at: UtcMs, place: Place): WatchAhead | null {
  const sinceNoonMs = at + (place.longitudeDeg / 360) * DAY_MS - DAY_MS / 2;
  const hours = watchHours(nightTimes(isoOf(sinceNoonMs).slice(0, 10), place));
  if (hours === null) return null;
  const { startUtcMs, endUtcMs } = hours;
  return { startUtcMs: utcMs(Math.round(startUtcMs)), endUtcMs: utcMs(Math.round(endUtcMs)) };
}

/** When the Sun next passes −6° upward; null: not within a day. */
function nextDawn(after: UtcMs, place: Place): UtcMs | null {
  const crossing = crossingsOf((atMs) => sunPosition(atMs, place).altitudeDeg, TWILIGHT_ENDS_DEG, {
    startMs: after,
    endMs: after + DAY_MS,
  }).find((one) => one.direction === "rising");
  return crossing ? utcMs(Math.round(crossing.atMs)) : null;
}

/**
 * Exposure of the first frame, from what the clear sky should be at that moment: twilight, Moon and
 * night sky together. The governor splits its light again between time and ISO.
 */
export function firstExposure(
  atUtc: UtcMs,
  place: Place,
  towards: SkyDirection,
  settings: ExposureSettings,
): Exposure {
  const { luminanceCdM2 } = skyBrightness({
    atUtcMs: atUtc,
    place,
    towards,
    conditions: DEFAULT_SKY_CONDITIONS,
  });
  const unit: Exposure = { exposureSeconds: 1, iso: 100, fNumber: settings.fNumber };
  const exposureSeconds = 2 ** (settings.targetStops - stopsFromMidGrey(luminanceCdM2, unit));
  return { ...unit, exposureSeconds };
}
