import { CLOCK_OFFSET_MAX_MS } from "../plan/checklist.ts";
import { clearLensC } from "../sky/dewPoint.ts";
import type { MonotonicMs } from "../units.ts";
import { clearGuard, raiseGuard } from "./raiseGuard.ts";
import { batteryShareAt } from "../plan/budget.ts";
import type { WatchKnowledge } from "./state.ts";

/** Open glass under a clear sky stands this far below the air. Common practice, no source: 1 to 3 K. */
const GLASS_BELOW_AIR_K = 3;
/** A guard that is up stays up until the air is this much better, so that it does not flicker. */
const HYSTERESIS_K = 1;
/** From here down the cold takes a good part of a battery. Common practice, no source. */
const COLD_C = -15;

/** Dew and cold against what the climate sensor last said. */
export function guardsFromClimate(known: WatchKnowledge, atMs: MonotonicMs): WatchKnowledge {
  return guardCold(guardDew(known, atMs), atMs);
}

/**
 * Dew or frost that the air makes likely. What the stars say outranks it: they show what is on the
 * glass already.
 */
export function guardDew(known: WatchKnowledge, atMs: MonotonicMs): WatchKnowledge {
  const dew = known.guards.find(({ guard }) => guard === "dew");
  if (dew?.level === "warning") return known;
  const { climate } = known;
  if (!climate || climate.humidityPercent === null || climate.humidityPercent <= 0) {
    return clearGuard(known, "dew");
  }
  const { temperatureC, humidityPercent } = climate;
  const clearC = clearLensC(temperatureC, humidityPercent);
  const spareK = temperatureC - GLASS_BELOW_AIR_K - clearC;
  if (spareK > (dew ? HYSTERESIS_K : 0)) return clearGuard(known, "dew");
  const what = clearC < 0 ? "frost" : "dew";
  return raiseGuard(known, atMs, {
    guard: "dew",
    level: "note",
    sentence: `Air at ${degrees(temperatureC)} with ${Math.round(humidityPercent)} % humidity: open glass below ${degrees(clearC)} takes ${what}. Frames go on; the lens heater should be on now.`,
  });
}

function guardCold(known: WatchKnowledge, atMs: MonotonicMs): WatchKnowledge {
  const isUp = known.guards.some(({ guard }) => guard === "cold");
  const { climate } = known;
  if (!climate || climate.temperatureC > COLD_C + (isUp ? HYSTERESIS_K : 0)) {
    return clearGuard(known, "cold");
  }
  return raiseGuard(known, atMs, {
    guard: "cold",
    level: "note",
    sentence: `${degrees(climate.temperatureC)} at the camera: a battery gives ${Math.round(batteryShareAt(climate.temperatureC) * 100)} % of its energy. Frames go on; keep the spare warm, and yourself.`,
  });
}

function degrees(celsius: number): string {
  return `${Math.round(celsius)} °C`.replace("-", "−");
}

/**
 * The camera's clock against the best time there is: GNSS where a receiver has been heard, else
 * this computer's.
 */
export function guardClock(known: WatchKnowledge, atMs: MonotonicMs): WatchKnowledge {
  const { cameraLessOursMs, oursLessGnssMs } = known.camera.clocks;
  const offsetMs = cameraLessOursMs === null ? null : cameraLessOursMs + (oursLessGnssMs ?? 0);
  if (offsetMs === null || Math.abs(offsetMs) <= CLOCK_OFFSET_MAX_MS) {
    return clearGuard(known, "clock");
  }
  const side = offsetMs > 0 ? "ahead of" : "behind";
  const whom = oursLessGnssMs === null ? "this computer's" : "GNSS time";
  return raiseGuard(known, atMs, {
    guard: "clock",
    level: "note",
    sentence: `The camera's clock is ${Math.round(Math.abs(offsetMs) / 1000)} s ${side} ${whom}. The offset is written down and frames are matched by it; --set-camera-clock sets the clock.`,
  });
}

/** This computer's own sleep would end the watch: noted for as long as it is not held off. */
export function guardSleep(
  known: WatchKnowledge,
  lack: string | null,
  atMs: MonotonicMs,
): WatchKnowledge {
  if (lack === null) return clearGuard(known, "sleep");
  return raiseGuard(known, atMs, { guard: "sleep", level: "note", sentence: lack });
}
