import { sunPosition } from "./ephemeris.ts";
import { lightOf, type Outside } from "./light.ts";
import type { Place } from "./place.ts";

/**
 * Dark from the end of civil twilight on, when outdoor work wants a lamp. Source: the definition of
 * civil twilight, Sun at −6°.
 */
export function outsideAt(atUtcMs: number, place: Place | null): Outside {
  if (place === null) return "unknown";
  const light = lightOf(sunPosition(atUtcMs, place).altitudeDeg);
  return light === "day" || light === "civil" ? "light" : "dark";
}
