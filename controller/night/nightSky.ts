import { stopsFromMidGrey, type Exposure } from "../../core/exposure/exposure.ts";
import type { ExposureSettings } from "../../core/exposure/settings.ts";
import type { SkyDirection } from "../../core/sky/angles.ts";
import { crossingsOf } from "../../core/sky/crossings.ts";
import { sunPosition } from "../../core/sky/ephemeris.ts";
import type { Place } from "../../core/sky/place.ts";
import { DEFAULT_SKY_CONDITIONS, skyBrightness } from "../../core/sky/skyBrightness.ts";
import { utcMs, type UtcMs } from "../../core/units.ts";

/** The Sun this far under ends the night's work at dawn, and begins it at dusk. Common practice, no source. */
const WATCH_SUN_ALTITUDE_DEG = -6;
const DAY_MS = 86_400_000;

/** When the Sun next passes −6° downward (dusk) or upward (dawn); null: not within a day. */
export function nextTwilight(after: UtcMs, place: Place, which: "dusk" | "dawn"): UtcMs | null {
  const direction = which === "dusk" ? "falling" : "rising";
  const crossing = crossingsOf(
    (atMs) => sunPosition(atMs, place).altitudeDeg,
    WATCH_SUN_ALTITUDE_DEG,
    { startMs: after, endMs: after + DAY_MS },
  ).find((one) => one.direction === direction);
  return crossing ? utcMs(Math.round(crossing.atMs)) : null;
}

export function isSunUnder(atUtc: UtcMs, place: Place): boolean {
  return sunPosition(atUtc, place).altitudeDeg <= WATCH_SUN_ALTITUDE_DEG;
}

/**
 * Exposure of the first frame, from what the clear sky should be at that moment: twilight, Moon and
 * night sky together. The governor splits its light anew between time and ISO.
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
