import type { Framing } from "../../core/frames/keogramAxes.ts";
import type { StartOrder } from "../../core/watch/events.ts";
import { DEFAULT_WATCH_SETTINGS, type WatchSettings } from "../../core/watch/watchSettings.ts";
import {
  targetStopsAt,
  twilightLiftStops,
  type TwilightLift,
} from "../../core/exposure/twilightTarget.ts";
import { sunPosition } from "../../core/sky/ephemeris.ts";
import type { Place } from "../../core/sky/place.ts";
import { monotonicMs, utcMs, type MonotonicMs, type UtcMs } from "../../core/units.ts";
import type { Clock } from "../timing/clock.ts";
import { exposureSettings, type StartOptions } from "../config.ts";
import { DEMO_FACING } from "./demoNight.ts";
import { firstExposure, watchAhead } from "../night/nightSky.ts";

/** Frames of a camera's first night that teach its tone curve: a few minutes of dusk. */
const PROBE_COUNT_MAX = 40;
/** Fetching and metering a preview takes a tenth or two, real seconds, whatever the night's rate. */
const READING_GRACE_SECONDS = 0.3;
/** Smear allowed in the demo, whose pictures are 1536 pixels wide: what 24 are to a frame of 6000. */
const DEMO_BLUR_PX = 6;

/**
 * What a watch is started with now: the settings asked for, the Sun's times, dusk's exposure.
 *
 * @param isDemo  The demo's night begins at dusk when that is asked for: nothing is waited for.
 */
export function startOrderNow(
  options: StartOptions,
  clock: Clock,
  { place, isDemo }: { readonly place: Place | null; readonly isDemo: boolean },
): Pick<StartOrder, "settings" | "first"> {
  const nowUtcMs = clock.utcMs();
  const ahead = place === null ? null : watchAhead(nowUtcMs, place);
  const waits = options["from-dusk"] && !isDemo && ahead !== null && ahead.startUtcMs > nowUtcMs;
  const startUtcMs = waits ? ahead.startUtcMs : null;
  const exposure = { ...exposureSettings(options), ...(isDemo ? { blurPx: DEMO_BLUR_PX } : {}) };
  const settings: WatchSettings = {
    ...DEFAULT_WATCH_SETTINGS,
    exposure,
    twilightLift: place === null ? [] : twilightLift(clock, place, options["twilight-stops"]),
    startMs: onClock(clock, startUtcMs),
    dawnMs: onClock(clock, ahead?.endUtcMs ?? null),
    frameCountMax: options.frames,
    sentinelIntervalSeconds: options["sentinel-seconds"],
    probeCountMax: PROBE_COUNT_MAX,
    readingGraceSeconds: READING_GRACE_SECONDS * Math.max(1, clock.origin.rate),
    // A camera answers in real time, however fast the night goes.
    silenceSecondsMax: DEFAULT_WATCH_SETTINGS.silenceSecondsMax * Math.max(1, clock.origin.rate),
  };
  // Where it is not known, a northern sky as low as most aurora frames look is near enough to begin.
  const towards = {
    bearingDeg: options.azimuth ?? DEMO_FACING.azimuthDeg,
    elevationDeg: options.altitude ?? DEMO_FACING.altitudeDeg,
  };
  const first =
    place === null
      ? null
      : firstExposure(startUtcMs ?? nowUtcMs, place, towards, {
          ...exposure,
          targetStops: targetStopsAt(
            settings,
            monotonicMs((startUtcMs ?? nowUtcMs) - clock.origin.startUtcMs),
          ),
        });
  return { settings, first };
}

/** The twilight's lift is given every ten minutes, from a little before now for a day and a half. */
const LIFT_STEP_MS = 600_000;
const LIFT_STEPS = 216;

/** How far above the target the sky is wanted as the Sun goes down and comes up. */
function twilightLift(clock: Clock, place: Place, liftStops: number): TwilightLift {
  const fromUtcMs = clock.utcMs() - LIFT_STEP_MS;
  const points = Array.from({ length: LIFT_STEPS }, (_, step) => {
    const at = utcMs(Math.round(fromUtcMs + step * LIFT_STEP_MS));
    const stops = twilightLiftStops(sunPosition(at, place).altitudeDeg, liftStops);
    return { atMs: monotonicMs(at - clock.origin.startUtcMs), stops };
  });
  // Where nothing changes there is nothing to say.
  return points.filter(
    ({ stops }, n) => stops !== points[n - 1]?.stops || stops !== points[n + 1]?.stops,
  );
}

/** Where the lens looks, as far as it is known; null: it is not. */
export function directionOf(
  options: StartOptions,
  isDemo: boolean,
): Pick<Framing, "azimuthDeg" | "altitudeDeg"> | null {
  const azimuthDeg = isDemo ? DEMO_FACING.azimuthDeg : options.azimuth;
  const altitudeDeg = isDemo ? DEMO_FACING.altitudeDeg : options.altitude;
  if (azimuthDeg === null || altitudeDeg === null) return null;
  return { azimuthDeg, altitudeDeg };
}

function onClock(clock: Clock, at: UtcMs | null): MonotonicMs | null {
  return at === null ? null : monotonicMs(at - clock.origin.startUtcMs);
}

/** A place without a name of its own. */
export function placeNameOf(latitudeDeg: number, longitudeDeg: number): string {
  return `${latitudeDeg.toFixed(2)}, ${longitudeDeg.toFixed(2)}`;
}
