import { CLOCK_OFFSET_MAX_MS } from "../plan/checklist.ts";
import { clearLensC } from "../sky/dewPoint.ts";
import type { MonotonicMs } from "../units.ts";
import { clearGuard, raiseGuard } from "./raiseGuard.ts";
import type { WatchState } from "./state.ts";

/** Open glass under a clear sky stands this far below the air. Common practice, no source: 1 to 3 K. */
const GLASS_BELOW_AIR_K = 3;
/** A guard that is up stays up until the air is this much better, so that it does not flicker. */
const HYSTERESIS_K = 1;
/** Below this a battery gives about half of its charge. Common practice, no source. */
const COLD_C = -15;

/** Dew and cold against what the climate sensor last said. */
export function guardsFromClimate(state: WatchState, atMs: MonotonicMs): WatchState {
  return guardCold(guardDew(state, atMs), atMs);
}

/**
 * Dew or frost that the air makes likely. What the stars say outranks it: they show what is on the
 * glass already.
 */
export function guardDew(state: WatchState, atMs: MonotonicMs): WatchState {
  const dew = state.guards.find(({ guard }) => guard === "dew");
  if (dew?.level === "warning") return state;
  const { climate } = state;
  if (!climate || climate.humidityPercent === null || climate.humidityPercent <= 0) {
    return clearGuard(state, "dew");
  }
  const { temperatureC, humidityPercent } = climate;
  const clearC = clearLensC(temperatureC, humidityPercent);
  const spareK = temperatureC - GLASS_BELOW_AIR_K - clearC;
  if (spareK > (dew ? HYSTERESIS_K : 0)) return clearGuard(state, "dew");
  const what = clearC < 0 ? "frost" : "dew";
  return raiseGuard(state, atMs, {
    guard: "dew",
    level: "note",
    sentence: `Air at ${degrees(temperatureC)} with ${Math.round(humidityPercent)} % humidity: open glass below ${degrees(clearC)} takes ${what}. Frames go on; the lens heater should be on now.`,
  });
}

function guardCold(state: WatchState, atMs: MonotonicMs): WatchState {
  const isUp = state.guards.some(({ guard }) => guard === "cold");
  const { climate } = state;
  if (!climate || climate.temperatureC > COLD_C + (isUp ? HYSTERESIS_K : 0)) {
    return clearGuard(state, "cold");
  }
  return raiseGuard(state, atMs, {
    guard: "cold",
    level: "note",
    sentence: `${degrees(climate.temperatureC)} at the camera: its battery gives about half. Frames go on; keep the spare warm, and yourself.`,
  });
}

function degrees(celsius: number): string {
  return `${Math.round(celsius)} °C`.replace("-", "−");
}

/**
 * The camera's clock against the best time there is: GNSS where a receiver has been heard, else
 * this computer's.
 */
export function guardClock(state: WatchState, atMs: MonotonicMs): WatchState {
  const { cameraLessOursMs, oursLessGnssMs } = state.clocks;
  const offsetMs = cameraLessOursMs === null ? null : cameraLessOursMs + (oursLessGnssMs ?? 0);
  if (offsetMs === null || Math.abs(offsetMs) <= CLOCK_OFFSET_MAX_MS) {
    return clearGuard(state, "clock");
  }
  const side = offsetMs > 0 ? "ahead of" : "behind";
  const whom = oursLessGnssMs === null ? "this computer's" : "GNSS time";
  return raiseGuard(state, atMs, {
    guard: "clock",
    level: "note",
    sentence: `The camera's clock is ${Math.round(Math.abs(offsetMs) / 1000)} s ${side} ${whom}. The offset is written down and frames are matched by it; --set-camera-clock sets the clock.`,
  });
}

/** This computer's own sleep would end the watch: noted for as long as it is not held off. */
export function guardSleep(state: WatchState, lack: string | null, atMs: MonotonicMs): WatchState {
  if (lack === null) return clearGuard(state, "sleep");
  return raiseGuard(state, atMs, { guard: "sleep", level: "note", sentence: lack });
}
