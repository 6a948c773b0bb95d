import type { SkyDirection } from "./angles.ts";
import { moonLight, moonPosition, sunPosition, type BodyPosition } from "./ephemeris.ts";
import { luminanceCdM2OfMag, magArcsec2Of, CD_M2_PER_NANOLAMBERT } from "./luminance.ts";
import { moonlightNanolambert, naturalSkyFactor } from "./moonlight.ts";
import type { Place } from "./place.ts";
import { twilightFlux } from "./twilight.ts";

/**
 * A moonless sky without town light at the zenith, away from the Milky Way, V mag/arcsec².
 * Source: Falchi et al. 2016, Science Advances 2:e1600377 (22.00, 1.7e-4 cd/m²).
 */
export const NATURAL_ZENITH_MAG = 22;

/** Light the air takes at a clear place near sea level, V mag per airmass. Common practice, no source. */
const EXTINCTION_MAG = 0.2;

/** What the sky's brightness depends on besides time and place. */
export type SkyConditions = {
  /** Moonless zenith of the place after dark, V mag/arcsec²: 22 natural, 20 near a small town. */
  readonly darkZenithMag: number;
  readonly extinctionMag: number;
};

/** A natural dark sky through clear air at sea level. */
export const DEFAULT_SKY_CONDITIONS: SkyConditions = {
  darkZenithMag: NATURAL_ZENITH_MAG,
  extinctionMag: EXTINCTION_MAG,
};

/** The sky toward one direction at one moment, without aurora and cloud. */
type SkyBrightness = {
  readonly magArcsec2: number;
  readonly luminanceCdM2: number;
  /** Magnitudes by which moonlight brightens this point over the same sky without a Moon; ≥ 0. */
  readonly moonlightMag: number;
  readonly sun: BodyPosition;
  readonly moon: BodyPosition;
};

/**
 * Brightness of the clear sky toward a direction: natural sky, twilight and moonlight together.
 *
 * Twilight is that of the zenith whatever the direction (no published model tells more for all
 * directions); natural sky and moonlight follow the direction.
 * Sources: beside each part, in moonlight.ts, twilight.ts and above.
 */
export function skyBrightness(options: {
  readonly atUtcMs: number;
  readonly place: Place;
  readonly towards: SkyDirection;
  readonly conditions: SkyConditions;
}): SkyBrightness {
  const { atUtcMs, place, towards, conditions } = options;
  const sun = sunPosition(atUtcMs, place);
  const moon = moonPosition(atUtcMs, place);
  const moonless = moonlessCdM2({ sun, place, towards, conditions });
  const moonlight =
    moon.altitudeDeg <= 0
      ? 0
      : CD_M2_PER_NANOLAMBERT *
        moonlightNanolambert({
          phaseAngleDeg: moonLight(atUtcMs).phaseAngleDeg,
          moon: { bearingDeg: moon.azimuthDeg, elevationDeg: moon.altitudeDeg },
          towards,
          extinctionMag: conditions.extinctionMag,
        });
  return {
    magArcsec2: magArcsec2Of(moonless + moonlight),
    luminanceCdM2: moonless + moonlight,
    moonlightMag: 2.5 * Math.log10((moonless + moonlight) / moonless),
    sun,
    moon,
  };
}

function moonlessCdM2(options: {
  readonly sun: BodyPosition;
  readonly place: Place;
  readonly towards: SkyDirection;
  readonly conditions: SkyConditions;
}): number {
  const { sun, place, towards, conditions } = options;
  const natural =
    luminanceCdM2OfMag(conditions.darkZenithMag) *
    naturalSkyFactor(90 - towards.elevationDeg, conditions.extinctionMag);
  const twilight = luminanceCdM2OfMag(0) * twilightFlux(sun.altitudeDeg, place.elevationM);
  return natural + twilight;
}
