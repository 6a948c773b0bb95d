import { BaryState, Body, MakeTime } from "astronomy-engine";

import { airmass } from "../sky/airmass.ts";
import { RAD_PER_DEG } from "../sky/angles.ts";
import { dot, type Direction } from "../sky/direction.ts";
import { airAt, refractionDeg, type Air } from "../sky/refraction.ts";
import { catalogueStars } from "../sky/starCatalogue.ts";
import { J2000_UTC_MS, starRotation } from "../sky/starRotation.ts";
import type { Place } from "../sky/place.ts";
import type { UtcMs } from "../units.ts";

/** The catalogue laid out for speed; brightest first. Made once, used for every frame. */
export type StarTable = {
  readonly count: number;
  /** Unit vectors of J2000, three numbers a star. */
  readonly directions: Float64Array;
  /** What a Julian year adds to them. */
  readonly motions: Float64Array;
  readonly magnitudes: Float32Array;
};

/** The catalogue as a table. */
export function starTable(): StarTable {
  const stars = catalogueStars();
  const directions = new Float64Array(3 * stars.length);
  const motions = new Float64Array(3 * stars.length);
  stars.forEach(({ direction, motionPerYear }, star) => {
    directions.set(direction, 3 * star);
    if (motionPerYear !== null) motions.set(motionPerYear, 3 * star);
  });
  return {
    count: stars.length,
    directions,
    motions,
    magnitudes: Float32Array.from(stars, ({ magnitude }) => magnitude),
  };
}

/** The stars that stand above the horizon of a place at a moment, where the air shows them. */
export type StarsAbove = {
  readonly count: number;
  /** Unit vectors to the east, the north and up, three numbers a star. */
  readonly directions: Float64Array;
  /** Visual magnitude after the clear air's extinction; brightest first. */
  readonly magnitudes: Float32Array;
  /** The star's place in the catalogue. */
  readonly catalogueIndex: Int32Array;
};

/** A moment at a place: what the sky's turn depends on. */
export type SkyMoment = {
  readonly place: Place;
  readonly utcMs: UtcMs;
  /** Default: `airAt`. */
  readonly air?: Air;
};

/** Speed of light, astronomical units a day. By definition. */
const LIGHT_AU_PER_DAY = 173.1446;

/** Extinction of clear air, magnitudes an airmass. Common practice, no source. */
const EXTINCTION_MAG = 0.2;

/** Lower than this stars drown in haze and trees. */
const SIN_ALTITUDE_MIN = Math.sin(0.5 * RAD_PER_DEG);

const MS_PER_YEAR = 365.25 * 86_400_000;

/**
 * Where the stars stand: proper motion, precession, nutation, aberration and refraction are in it.
 *
 * @param countMax  So many of the brightest of the whole sky are looked at.
 * Accuracy: 0.001° at altitudes above 20°; nearer to the horizon as good as the refraction.
 * Sources: astronomy-engine for the sky's turn and the Earth's speed; `refraction.ts`.
 */
export function starsAbove(table: StarTable, moment: SkyMoment, countMax = Infinity): StarsAbove {
  const { place, utcMs } = moment;
  const air = moment.air ?? airAt(place.elevationM);
  const turn = starRotation(place, utcMs);
  const years = (utcMs - J2000_UTC_MS) / MS_PER_YEAR;
  const speed = earthSpeed(utcMs);
  const { directions, motions, magnitudes } = table;
  const found: { star: number; magnitude: number }[] = [];
  const places = new Float64Array(3 * Math.min(table.count, countMax));
  const count = Math.min(table.count, countMax);
  for (let star = 0; star < count; star += 1) {
    const at = 3 * star;
    const seen: Direction = [
      directions[at]! + years * motions[at]! + speed[0],
      directions[at + 1]! + years * motions[at + 1]! + speed[1],
      directions[at + 2]! + years * motions[at + 2]! + speed[2],
    ];
    const length = Math.hypot(seen[0], seen[1], seen[2]);
    const up = dot(turn[2], seen) / length;
    if (up < SIN_ALTITUDE_MIN) continue;
    const altitude = Math.asin(Math.min(1, up));
    const lifted = altitude + refractionDeg(altitude / RAD_PER_DEG, air) * RAD_PER_DEG;
    const across = Math.cos(lifted) / Math.max(1e-9, Math.cos(altitude)) / length;
    places[at] = dot(turn[0], seen) * across;
    places[at + 1] = dot(turn[1], seen) * across;
    places[at + 2] = Math.sin(lifted);
    found.push({ star, magnitude: magnitudes[star]! + EXTINCTION_MAG * airmass(up) });
  }
  found.sort((a, b) => a.magnitude - b.magnitude);
  const ordered = new Float64Array(3 * found.length);
  found.forEach(({ star }, index) =>
    ordered.set(places.subarray(3 * star, 3 * star + 3), 3 * index),
  );
  return {
    count: found.length,
    directions: ordered,
    magnitudes: Float32Array.from(found, ({ magnitude }) => magnitude),
    catalogueIndex: Int32Array.from(found, ({ star }) => star),
  };
}

/** The Earth's speed over that of light, on the axes of J2000. */
function earthSpeed(utcMs: UtcMs): Direction {
  const { vx, vy, vz } = BaryState(Body.Earth, MakeTime((utcMs - J2000_UTC_MS) / 86_400_000));
  return [vx / LIGHT_AU_PER_DAY, vy / LIGHT_AU_PER_DAY, vz / LIGHT_AU_PER_DAY];
}
