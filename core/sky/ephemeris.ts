import {
  Body,
  Equator,
  Horizon,
  Illumination,
  KM_PER_AU,
  MakeTime,
  MoonPhase,
  Observer,
  type AstroTime,
} from "astronomy-engine";

import { turnDeg } from "./angles.ts";
import type { Place } from "./place.ts";

/** Where a body's centre stands, without the air's refraction, as seen from the place itself. */
export type BodyPosition = {
  /** Above the level horizon, degrees; negative below. */
  readonly altitudeDeg: number;
  /** From north through east, degrees, 0..360. */
  readonly azimuthDeg: number;
  readonly declinationDeg: number;
};

/** The same with how far away it stands from the place. */
export type PositionWithDistance = BodyPosition & { readonly distanceKm: number };

/** What of the Moon is lit. */
type MoonLight = {
  /** Lit share of the disc, 0 new .. 1 full. */
  readonly illuminatedFraction: number;
  /** Angle Sun - Moon - Earth, degrees: 0 full, 180 new. */
  readonly phaseAngleDeg: number;
};

/**
 * Airless topocentric position of the Sun's centre.
 * Source: astronomy-engine 2.1.19 (truncated VSOP87), good to a minute of arc.
 */
export function sunPosition(atUtcMs: number, place: Place): BodyPosition {
  return positionOf(Body.Sun, atUtcMs, place);
}

/**
 * Airless topocentric position of the Moon's centre; the parallax, up to a degree, is in it.
 * Source: astronomy-engine 2.1.19 (after Montenbruck and Pfleger), good to a minute of arc.
 */
export function moonPosition(atUtcMs: number, place: Place): PositionWithDistance {
  return positionOf(Body.Moon, atUtcMs, place);
}

/** The Moon's lit share and phase angle, as from the Earth's centre. Source: astronomy-engine. */
export function moonLight(atUtcMs: number): MoonLight {
  const { phase_fraction, phase_angle } = Illumination(Body.Moon, timeOf(atUtcMs));
  return { illuminatedFraction: phase_fraction, phaseAngleDeg: phase_angle };
}

/** Geocentric place of the Sun overhead: latitude and longitude of the subsolar point, degrees. */
export function subsolarPoint(atUtcMs: number): { latitudeDeg: number; longitudeDeg: number } {
  const sun = Equator(Body.Sun, timeOf(atUtcMs), new Observer(0, 0, 0), true, true);
  const here = Horizon(timeOf(atUtcMs), new Observer(90, 0, 0), sun.ra, sun.dec);
  // Seen from the pole the azimuth is counted from the meridian of 180°, through east.
  const longitudeDeg = turnDeg(180 - here.azimuth + 180) - 180;
  return { latitudeDeg: sun.dec, longitudeDeg };
}

function positionOf(body: Body, atUtcMs: number, place: Place): PositionWithDistance {
  const time = timeOf(atUtcMs);
  const observer = new Observer(place.latitudeDeg, place.longitudeDeg, place.elevationM);
  const equator = Equator(body, time, observer, true, true);
  const horizon = Horizon(time, observer, equator.ra, equator.dec);
  return {
    altitudeDeg: horizon.altitude,
    azimuthDeg: turnDeg(horizon.azimuth),
    declinationDeg: equator.dec,
    distanceKm: equator.dist * KM_PER_AU,
  };
}

function timeOf(atUtcMs: number): AstroTime {
  return MakeTime(new Date(atUtcMs));
}

/** Ecliptic longitude of the Moon less that of the Sun, degrees: 0 new, 180 full. Source: astronomy-engine. */
export function moonElongationDeg(atUtcMs: number): number {
  return MoonPhase(timeOf(atUtcMs));
}
