import { utcMs } from "../core/units.ts";
import type { NightInfo } from "./archive/nightInfo.ts";

/**
 * The demo night: an invented observation hut by a lake. Its place, date, people and skies are made
 * up; on that evening the Sun goes 6° under at about 17:42 UTC, and a bright Moon rises at 22.
 */
export const DEMO_NIGHT: NightInfo = {
  name: "Hut Seven",
  startUtcMs: utcMs(Date.UTC(2027, 2, 24, 17, 45)),
  latitudeDeg: 68.9,
  longitudeDeg: 27,
  placeName: "Hut Seven (invented)",
  isRehearsal: true,
};

/** The sky of the demo, as the virtual camera knows its skies. */
export const DEMO_STORY = "demo";

/** Where the demo's camera looks: north, low enough for lake and hut to be in the picture. */
export const DEMO_FACING = { azimuthDeg: 0, altitudeDeg: 25 } as const;
