import { DEMO_NIGHT as SKY_NIGHT, demoBreakupUtcMs, HUT_SEVEN } from "../../core/simulation/sky.ts";
import { utcMs, type UtcMs } from "../../core/units.ts";
import type { NightInfo } from "../archive/nightInfo.ts";

/**
 * The demo night: an invented observation hut by a lake, under the simulated sky of an autumn night.
 * Its place, date, people and skies are made up.
 */
export const DEMO_NIGHT: NightInfo = {
  name: "Hut Seven",
  startUtcMs: SKY_NIGHT.startUtcMs,
  latitudeDeg: HUT_SEVEN.latitudeDeg,
  longitudeDeg: HUT_SEVEN.longitudeDeg,
  placeName: "Hut Seven (invented)",
  isRehearsal: true,
};

/** When the scenario of the demo's sky begins: at dusk, wherever in it the watch does. */
export const DEMO_SCENARIO_UTC_MS: UtcMs = SKY_NIGHT.startUtcMs;

/** A demo begins so long before its first breakup, seconds of the night: time for a few frames. */
const BEFORE_BREAKUP_SECONDS = 120;

/**
 * The demo night as a watch of it begins: shortly before the first breakup, so that anyone who starts
 * it sees aurora at once, or at dusk.
 */
export function demoNight(seed: string, isFromDusk: boolean): NightInfo {
  if (isFromDusk) return DEMO_NIGHT;
  return {
    ...DEMO_NIGHT,
    startUtcMs: utcMs(demoBreakupUtcMs(seed) - BEFORE_BREAKUP_SECONDS * 1000),
  };
}

/** Where the demo's camera looks: low enough for lake and hut to be in the picture. */
export const DEMO_FACING = {
  azimuthDeg: HUT_SEVEN.azimuthDeg,
  altitudeDeg: HUT_SEVEN.altitudeDeg,
} as const;

/** The sky of the demo, as the virtual camera knows its skies. */
export const DEMO_SCENARIO = "demo";
