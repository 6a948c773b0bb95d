import { DEMO_NIGHT as SKY_NIGHT, HUT_SEVEN } from "../../core/simulation/sky.ts";
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

/** Where the demo's camera looks: low enough for lake and hut to be in the picture. */
export const DEMO_FACING = {
  azimuthDeg: HUT_SEVEN.azimuthDeg,
  altitudeDeg: HUT_SEVEN.altitudeDeg,
} as const;

/** The sky of the demo, as the virtual camera knows its skies. */
export const DEMO_STORY = "demo";
