import * as v from "valibot";

import { crossingsOf, type Stretch } from "../sky/crossings.ts";
import { moonLight, moonPosition, sunPosition } from "../sky/ephemeris.ts";
import { LIGHT_LIMITS_DEG, LIGHTS, lightOf, type Light } from "../sky/light.ts";
import type { Place } from "../sky/place.ts";

/** A stretch of equal light, UTC ms. */
export type LightBand = {
  readonly light: Light;
  readonly startUtcMs: number;
  readonly endUtcMs: number;
};

/** What lights the sky of a night besides the aurora. */
export type NightLight = {
  /** Twilights and darkness, in order and without holes. */
  readonly bands: readonly LightBand[];
  /** While the Moon's centre is above the horizon, without refraction. */
  readonly moonUp: readonly { readonly startUtcMs: number; readonly endUtcMs: number }[];
  /** Lit share of the Moon's disc in the middle of the stretch, 0..1. */
  readonly moonIlluminatedFraction: number;
};

/** Schema of `NightLight`. Source: the type above. */
export const nightLightSchema: v.GenericSchema<NightLight> = v.object({
  bands: v.array(
    v.object({ light: v.picklist(LIGHTS), startUtcMs: v.number(), endUtcMs: v.number() }),
  ),
  moonUp: v.array(v.object({ startUtcMs: v.number(), endUtcMs: v.number() })),
  moonIlluminatedFraction: v.number(),
});

/**
 * The light over a place from one moment to another.
 *
 * Source: the Sun's and the Moon's altitudes as `core/sky/ephemeris.ts` has them; twilight by
 * definition.
 */
export function nightLight(place: Place, stretch: Stretch): NightLight {
  const sunDeg = (atMs: number): number => sunPosition(atMs, place).altitudeDeg;
  const moonDeg = (atMs: number): number => moonPosition(atMs, place).altitudeDeg;
  const middleMs = (stretch.startMs + stretch.endMs) / 2;
  return {
    bands: parts(sunDeg, LIGHT_LIMITS_DEG, stretch).map(({ middle, ...band }) => ({
      light: lightOf(middle),
      ...band,
    })),
    moonUp: parts(moonDeg, [0], stretch)
      .filter(({ middle }) => middle > 0)
      .map(({ startUtcMs, endUtcMs }) => ({ startUtcMs, endUtcMs })),
    moonIlluminatedFraction: moonLight(middleMs).illuminatedFraction,
  };
}

/** A stretch cut where a curve passes any of the levels, with the curve's value in each part's middle. */
function parts(
  curve: (atMs: number) => number,
  levels: readonly number[],
  stretch: Stretch,
): readonly { startUtcMs: number; endUtcMs: number; middle: number }[] {
  const cuts = levels
    .flatMap((level) => crossingsOf(curve, level, stretch).map(({ atMs }) => Math.round(atMs)))
    .sort((one, other) => one - other);
  const starts = [stretch.startMs, ...cuts];
  return starts.map((startUtcMs, index) => {
    const endUtcMs = starts[index + 1] ?? stretch.endMs;
    return { startUtcMs, endUtcMs, middle: curve((startUtcMs + endUtcMs) / 2) };
  });
}
