import { Rotation_EQJ_GAL } from "astronomy-engine";

import { moonLight, moonPosition, sunPosition, type BodyPosition } from "../sky/ephemeris.ts";
import { luminanceCdM2OfMag } from "../sky/luminance.ts";
import { naturalSkyFactor } from "../sky/moonlight.ts";
import { RAD_PER_DEG } from "../sky/angles.ts";
import { twilightFlux, twilightZenithMag } from "../sky/twilight.ts";
import type { UtcMs } from "../units.ts";
import { airmass } from "../sky/airmass.ts";
import { passedShares } from "./air.ts";
import { seenHue, type Rgb } from "./colour.ts";
import { fractalNoise } from "./noise.ts";
import { directionOf, dot, type Direction, type Rotation } from "../sky/direction.ts";
import { starRotation } from "../sky/starRotation.ts";

/** Glow of a distant settlement on the horizon. */
type TownGlow = {
  readonly azimuthDeg: number;
  /** Luminance at its brightest, on the horizon. */
  readonly peakCdM2: number;
  readonly widthDeg: number;
  readonly heightDeg: number;
};

/** What shines in a cloudless sky without aurora and stars; `null` sources are left out. */
export type ClearSky = {
  /** Moonless zenith away from the Milky Way, V mag/arcsec². */
  readonly zenithMag: number;
  readonly extinctionMag: number;
  readonly hasTwilight: boolean;
  readonly hasMoon: boolean;
  readonly hasMilkyWay: boolean;
  readonly town: TownGlow | null;
};

/** Sun, Moon and the turn of the sky at one moment. */
export type SkyMoment = {
  readonly utcMs: UtcMs;
  readonly sun: BodyPosition;
  readonly moon: BodyPosition;
  readonly moonPhaseAngleDeg: number;
  /** From the equator (J2000) to the horizon. */
  readonly stars: Rotation;
  /** From the horizon to galactic axes. */
  readonly galaxy: Rotation;
};

type PlaceOnEarth = { readonly latitudeDeg: number; readonly longitudeDeg: number };

/** Sun, Moon and stars over a place. Source: astronomy-engine; positions without refraction. */
export function skyMoment(place: PlaceOnEarth, utcMs: UtcMs): SkyMoment {
  const where = { ...place, elevationM: 0 };
  const stars = starRotation(place, utcMs);
  const { rot } = Rotation_EQJ_GAL();
  // The package's matrices are turned by columns: out[i] = Σ rot[j][i] · in[j].
  const axis = (index: number): Direction => {
    const equatorial: Direction = [rot[0]![index]!, rot[1]![index]!, rot[2]![index]!];
    return [dot(stars[0], equatorial), dot(stars[1], equatorial), dot(stars[2], equatorial)];
  };
  return {
    utcMs,
    sun: sunPosition(utcMs, where),
    moon: moonPosition(utcMs, where),
    moonPhaseAngleDeg: moonLight(utcMs).phaseAngleDeg,
    stars,
    galaxy: [axis(0), axis(1), axis(2)],
  };
}

/** Colours of the parts at equal luminance, white balance for the night. Common practice, no source. */
const NIGHT_HUE = seenHue([0.86, 1, 1.2]);
/** Colour of the moonlit sky. */
export const MOONLIGHT_HUE = seenHue([0.84, 1, 1.5]);
const TOWN_HUE = seenHue([1.7, 0.95, 0.28]);
const SUNSET_HUE = seenHue([1.75, 0.88, 0.24]);
const GALAXY_HUE = seenHue([1.06, 1, 0.98]);

/** The Milky Way's brightest part over that of the natural sky. Source: IBC I equals the Milky Way. */
const MILKY_WAY_CD_M2 = 1.9e-4;

/** Evaluates the clear sky of one moment toward any direction. */
export type ClearSkyLight = {
  /**
   * Adds what the filters see (cd/m², green being luminance) toward a direction to `into` at
   * `offset`; directions below the horizon count as the horizon.
   */
  add(direction: Direction, into: Float32Array | Float64Array | number[], offset: number): void;
};

/**
 * The clear sky at a moment, without moonlight, which is too steep near the Moon to be drawn with it.
 *
 * Sources: natural sky and the zenith in twilight as in `core/sky`; twilight's colours
 * at the zenith from the B, V and R polynomials of Patat et al. 2006; its brightening toward the
 * Sun's horizon, the Milky Way's profile and all other colours are common practice, no source.
 */
export function clearSkyLight(
  sky: ClearSky,
  moment: SkyMoment,
  mottle: Float32Array,
): ClearSkyLight {
  const zenithCdM2 = luminanceCdM2OfMag(sky.zenithMag);
  const twilight = sky.hasTwilight ? twilightOf(moment) : null;

  const add: ClearSkyLight["add"] = (direction, into, offset) => {
    const up = Math.max(0.001, direction[2]);
    const altitudeDeg = Math.asin(Math.min(1, up)) / RAD_PER_DEG;
    const azimuthDeg = Math.atan2(direction[0], direction[1]) / RAD_PER_DEG;
    const plus = (hue: Rgb, luminanceCdM2: number): void => {
      into[offset] = into[offset]! + hue[0] * luminanceCdM2;
      into[offset + 1] = into[offset + 1]! + hue[1] * luminanceCdM2;
      into[offset + 2] = into[offset + 2]! + hue[2] * luminanceCdM2;
    };
    const night = zenithCdM2 * naturalSkyFactor(90 - altitudeDeg, sky.extinctionMag);
    plus(NIGHT_HUE, night);
    if (sky.hasMilkyWay) {
      const galaxy = milkyWayCdM2(moment.galaxy, direction, mottle);
      if (galaxy > 0) {
        const passed = passedShares(sky.extinctionMag, airmass(up));
        plus([GALAXY_HUE[0] * passed[0], passed[1], GALAXY_HUE[2] * passed[2]], galaxy);
      }
    }
    if (sky.town !== null) plus(TOWN_HUE, townCdM2(sky.town, azimuthDeg, altitudeDeg));
    if (twilight !== null) {
      const warm = twilight.warmth(direction);
      const light = twilight.zenithCdM2 * twilight.gradient(direction);
      plus(twilight.zenithHue, light * (1 - warm));
      plus(SUNSET_HUE, light * warm);
    }
  };
  return { add };
}

function milkyWayCdM2(galaxy: Rotation, direction: Direction, mottle: Float32Array): number {
  const sine = dot(galaxy[2], direction);
  const latitude = Math.asin(Math.max(-1, Math.min(1, sine)));
  if (Math.abs(latitude) > 0.7) return 0;
  const longitude = Math.atan2(dot(galaxy[1], direction), dot(galaxy[0], direction));
  const band = Math.exp(-Math.abs(latitude) / 0.16);
  const along = 0.45 + 0.4 * Math.cos(longitude);
  const clouds = 0.35 + 1.3 * fractalNoise(mottle, longitude * 9, latitude * 14);
  return MILKY_WAY_CD_M2 * band * along * clouds;
}

function townCdM2(town: TownGlow, azimuthDeg: number, altitudeDeg: number): number {
  const turn = ((((azimuthDeg - town.azimuthDeg) % 360) + 540) % 360) - 180;
  const across = (turn / town.widthDeg) ** 2;
  if (across > 12) return 0;
  return town.peakCdM2 * Math.exp(-across - altitudeDeg / town.heightDeg);
}

type Twilight = {
  readonly zenithCdM2: number;
  readonly zenithHue: Rgb;
  /** Luminance over that at the zenith. */
  gradient(direction: Direction): number;
  /** Share of the light that is sunset-coloured, 0..1. */
  warmth(direction: Direction): number;
};

function twilightOf(moment: SkyMoment): Twilight | null {
  const sunAltitude = moment.sun.altitudeDeg;
  const zenithCdM2 = luminanceCdM2OfMag(0) * twilightFlux(sunAltitude, 0);
  if (zenithCdM2 <= 0) return null;
  // Toward the Sun's horizon the sky is several times the zenith, and more so the deeper the Sun.
  const depth = Math.min(1, Math.max(0, (-sunAltitude - 1) / 14));
  const sunSide = directionOf(moment.sun.azimuthDeg, 0);
  const towardHorizon = 2 + 14 * depth;
  const reach = 0.2 - 0.07 * depth;
  const glowOf = (direction: Direction): number => {
    const facing = (1 + direction[0] * sunSide[0] + direction[1] * sunSide[1]) / 2;
    return facing ** 4 * Math.exp(-Math.max(0, direction[2]) / reach);
  };
  return {
    zenithCdM2,
    zenithHue: twilightHue(sunAltitude),
    gradient: (direction) =>
      1 +
      towardHorizon * glowOf(direction) +
      0.8 * (Math.exp(-Math.max(0, direction[2]) / 0.3) - Math.exp(-1 / 0.3)),
    warmth: (direction) => {
      const glow = glowOf(direction);
      return Math.min(
        0.92,
        1.15 * glow * Math.exp(-Math.max(0, direction[2]) / 0.12) + 0.12 * glow,
      );
    },
  };
}

/** Colour of sunlight that the white balance calls grey: B − V 0.65, V − R 0.36. Source: Allen. */
function twilightHue(sunAltitudeDeg: number): Rgb {
  const altitude = Math.min(-5, Math.max(-12, sunAltitudeDeg));
  const x = -altitude - 5;
  const v = twilightZenithMag(altitude);
  const b = 11.84 + 1.411 * x - 0.041 * x * x;
  const r = 11.4 + 1.567 * x - 0.064 * x * x;
  const [red, blue] = [10 ** (0.4 * (v - r - 0.36)), 10 ** (-0.4 * (b - v - 0.65))];
  // The night's white balance is cooler than daylight's.
  return seenHue([0.8 * red, 1, 1.2 * blue]);
}
