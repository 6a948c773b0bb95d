import { RAD_PER_DEG } from "../sky/angles.ts";
import { NightError } from "../errors.ts";
import { bearingDeg, dipoleLatitudeDeg, geomagneticPole, antipode } from "../sky/geomagnetic.ts";
import { elevationOverDeg, slantKmOf } from "../sky/auroraGeometry.ts";
import { magneticFieldAt } from "../sky/magneticField.ts";
import { utcMs, type UtcMs } from "../units.ts";
import { auroraCourse, auroraMoment, foldKmPerSecond, type SkyScenario } from "./auroraCourse.ts";
import type { Aurora } from "./auroraLight.ts";
import { createCurtains } from "./curtains.ts";
import { fieldAxes } from "./fieldLineMap.ts";
import { spruceShore } from "./foreground.ts";
import { noiseLine } from "./noise.ts";
import { createPatches } from "./patches.ts";
import type { SimulatedSky, SkyPlace } from "./simulatedSky.ts";
import { lightToward } from "./skyLight.ts";
import { catalogueSkyStars } from "./stars.ts";
import { directionOf } from "../sky/direction.ts";

export type { SkyScenario } from "./auroraCourse.ts";
export type { SimulatedSky, SkyPlace } from "./simulatedSky.ts";

/**
 * The invented hut of the demo, looking where its arcs stand.
 *
 * "Hut Seven" is made up; so are its shore, its trees and its nights.
 */
export const HUT_SEVEN: SkyPlace = {
  latitudeDeg: 68.9,
  longitudeDeg: 27,
  azimuthDeg: 345,
  altitudeDeg: 27,
};

/**
 * The demo's night at Hut Seven, from the Sun at −6° in the evening to −6° in the morning, with the
 * waning Moon rising before midnight. The date is invented, its sky is computed.
 */
export const DEMO_NIGHT: { readonly startUtcMs: UtcMs; readonly durationSeconds: number } = {
  startUtcMs: utcMs(Date.UTC(2026, 9, 5, 16, 15)),
  durationSeconds: 11.5 * 3600,
};

/**
 * When the demo's first breakup begins.
 *
 * @param seed  Of its sky.
 */
export function demoBreakupUtcMs(seed: string): UtcMs {
  const { startUtcMs, durationSeconds } = DEMO_NIGHT;
  const { surgeKm } = auroraCourse("demo", durationSeconds, seed);
  return utcMs(
    startUtcMs +
      1000 *
        Math.max(
          0,
          surgeKm.findIndex((km) => km > 0),
        ),
  );
}

/**
 * A night's sky from a seed.
 *
 * @param startUtcMs  Start of the scenario, usually dusk; the sky exists before and after as well.
 * @throws NightError `quantity.out_of_range` for a place off the globe or a duration that is no
 *   time.
 * Sources: beside each part. Invented: the course of the aurora within published time scales, the
 * shapes of its arcs, clouds, land and settlement.
 */
export function createSky(options: {
  readonly seed: number | string;
  readonly place: SkyPlace;
  readonly startUtcMs: UtcMs;
  readonly durationSeconds: number;
  readonly scenario: SkyScenario;
}): SimulatedSky {
  const { place, startUtcMs, durationSeconds, scenario } = options;
  checkPlace(place);
  if (!(durationSeconds > 0 && durationSeconds <= 7 * 86_400)) {
    throw outOfRange("a night must last from a moment to seven days", { durationSeconds });
  }
  const seed = String(options.seed);
  return {
    seed,
    place,
    startUtcMs,
    durationSeconds,
    scenario,
    clear: {
      zenithMag: 21.9,
      extinctionMag: 0.2,
      hasTwilight: true,
      hasMoon: true,
      hasMilkyWay: true,
      town: {
        azimuthDeg: place.azimuthDeg - 33,
        peakCdM2: 1.1e-3,
        widthDeg: 15,
        heightDeg: 3.2,
      },
    },
    even: null,
    stars: catalogueSkyStars(),
    aurora: createAurora({ seed, place, startUtcMs, durationSeconds, scenario }),
    clouds: {
      heightKm: 4,
      windMPerS: [14, 5],
      thickness: scenario === "cloudy" ? 3.5 : 1.1,
      scaleKm: 5.5,
      pattern: noiseLine(`${seed}/clouds`),
    },
    pattern: null,
    foreground: spruceShore(seed, place.azimuthDeg),
    mottle: noiseLine(`${seed}/mottle`),
  };
}

/** The aurora of a night over a place. */
function createAurora(options: {
  readonly seed: string;
  readonly place: SkyPlace;
  readonly startUtcMs: UtcMs;
  readonly durationSeconds: number;
  readonly scenario: SkyScenario;
}): Aurora {
  const { seed, place, startUtcMs, durationSeconds, scenario } = options;
  const field = magneticFieldAt(startUtcMs);
  const elements = field.elementsAt(place.latitudeDeg, place.longitudeDeg);
  const northPole = geomagneticPole(field);
  const pole = elements.inclinationDeg >= 0 ? northPole : antipode(northPole);
  return {
    axes: fieldAxes(elements.inclinationDeg, elements.declinationDeg),
    course: auroraCourse(scenario, durationSeconds, seed),
    curtains: createCurtains({
      seed,
      polewardDeg: bearingDeg(place, pole),
      latitudeDeg: dipoleLatitudeDeg(place, northPole),
    }),
    patches: createPatches(seed),
  };
}

function checkPlace({ latitudeDeg, longitudeDeg, azimuthDeg, altitudeDeg }: SkyPlace): void {
  const isOnGlobe = Math.abs(latitudeDeg) <= 90 && Math.abs(longitudeDeg) <= 360;
  const isAimed = Number.isFinite(azimuthDeg) && Math.abs(altitudeDeg) <= 90;
  if (!isOnGlobe || !isAimed) {
    throw outOfRange("a simulated camera needs a place on the globe and a direction", {
      latitudeDeg,
      longitudeDeg,
      azimuthDeg,
      altitudeDeg,
    });
  }
}

function outOfRange(sentence: string, details: Readonly<Record<string, unknown>>): NightError {
  return new NightError("quantity.out_of_range", sentence, details);
}

/** Seconds of the night at a wall-clock time. */
function secondsOfNight(sky: SimulatedSky, atUtcMs: UtcMs): number {
  return (atUtcMs - sky.startUtcMs) / 1000;
}

/**
 * Luminance toward a point of the sky at a moment, cd/m², stars and land left out; a point below
 * the horizon counts as the horizon.
 */
export function skyLuminanceCdM2(
  sky: SimulatedSky,
  atUtcMs: UtcMs,
  altitudeDeg: number,
  azimuthDeg: number,
): number {
  const direction = directionOf(azimuthDeg, Math.max(0.8, altitudeDeg));
  return lightToward(sky, [direction], atUtcMs)[1]!;
}

/**
 * Apparent angular speed of the curtains at a moment, degrees a second: the speed of the folds over
 * the distance of the main arc; 0 where there is no aurora.
 */
export function driftDegPerSecond(sky: SimulatedSky, atUtcMs: UtcMs): number {
  if (sky.pattern !== null) return Math.abs(sky.pattern.degPerSecond);
  if (sky.aurora === null) return 0;
  const moment = auroraMoment(sky.aurora.course, secondsOfNight(sky, atUtcMs));
  const elevation = Math.max(3, elevationOverDeg(Math.abs(moment.centreKm), 110));
  return foldKmPerSecond(moment) / slantKmOf(elevation, 110) / RAD_PER_DEG;
}
