import { medianOf } from "../statistics.ts";
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
  const { towards } = options;
  const lights = lightsAt(options);
  const { moonless, moonlight } = towardsCdM2(lights, towards);
  return {
    magArcsec2: magArcsec2Of(moonless + moonlight),
    luminanceCdM2: moonless + moonlight,
    moonlightMag: 2.5 * Math.log10((moonless + moonlight) / moonless),
    sun: lights.sun,
    moon: lights.moon,
  };
}

/**
 * Magnitudes by which moonlight brightens the sky over a whole frame: the median of its directions, as
 * one of them may lie in the Moon's own glow; 0 without a Moon.
 */
export function moonlightOverMag(moment: Moment, directions: readonly SkyDirection[]): number {
  const lights = lightsAt(moment);
  if (lights.moon.altitudeDeg <= 0 || directions.length === 0) return 0;
  return medianOf(
    directions.map((towards) => {
      const { moonless, moonlight } = towardsCdM2(lights, towards);
      return 2.5 * Math.log10((moonless + moonlight) / moonless);
    }),
  );
}

type Moment = {
  readonly atUtcMs: number;
  readonly place: Place;
  readonly conditions: SkyConditions;
};

/** Sun and Moon of one moment, and what the sky's brightness depends on besides. */
type Lights = Moment & {
  readonly sun: BodyPosition;
  readonly moon: BodyPosition;
  readonly moonPhaseAngleDeg: number;
};

function lightsAt({ atUtcMs, place, conditions }: Moment): Lights {
  return {
    ...{ atUtcMs, place, conditions },
    sun: sunPosition(atUtcMs, place),
    moon: moonPosition(atUtcMs, place),
    moonPhaseAngleDeg: moonLight(atUtcMs).phaseAngleDeg,
  };
}

function towardsCdM2(
  lights: Lights,
  towards: SkyDirection,
): { readonly moonless: number; readonly moonlight: number } {
  const { moon, conditions } = lights;
  const moonlight =
    moon.altitudeDeg <= 0
      ? 0
      : CD_M2_PER_NANOLAMBERT *
        moonlightNanolambert({
          phaseAngleDeg: lights.moonPhaseAngleDeg,
          moon: { bearingDeg: moon.azimuthDeg, elevationDeg: moon.altitudeDeg },
          towards,
          extinctionMag: conditions.extinctionMag,
        });
  return { moonless: moonlessCdM2({ ...lights, towards }), moonlight };
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
