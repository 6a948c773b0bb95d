import type { SkyDirection } from "../sky/angles.ts";
import { auroraView, type AuroraView } from "../sky/auroraView.ts";
import { compassTrust, type CompassTrust } from "../sky/compass.ts";
import { isoOf, isoOrNull } from "../sky/calendarDate.ts";
import { nightTimes, type DarknessKind, type NightTimes } from "../sky/darkness.ts";
import { faceAurora } from "../sky/facing.ts";
import {
  antipode,
  bearingDeg,
  correctedPosition,
  dipoleLatitudeDeg,
  geomagneticPole,
} from "../sky/geomagnetic.ts";
import { moonElongationDeg, moonLight } from "../sky/ephemeris.ts";
import { magneticFieldAt } from "../sky/magneticField.ts";
import { magneticMidnightUtcMs } from "../sky/magneticTime.ts";
import { placeOf, type Place } from "../sky/place.ts";
import {
  DEFAULT_SKY_CONDITIONS,
  moonlightOverMag,
  skyBrightness,
  type SkyConditions,
} from "../sky/skyBrightness.ts";
import { cautionsOf, type Caution } from "./cautions.ts";
import { fieldOfViewDeg, type Kit } from "./kit.ts";
import {
  startingExposures,
  stoppingDown,
  type StartingExposure,
  type StoppingDown,
} from "./startingExposures.ts";
import { trailLimits, type TrailLimits } from "./trailLimits.ts";
import { framedDirections, moonCourse, type MoonCourse } from "./moon.ts";
import { auroraHours, type AuroraHour } from "./auroraHours.ts";
import { planBudget, type PlanBudget } from "./budget.ts";
import { coldOf, type PlanCold } from "./cold.ts";
import { planWatch, type PlanWatch } from "./watchWindow.ts";
import { auroraSentence, darknessSentence, moonPhaseName, moonSentence } from "./planSentences.ts";
import type { PlanSample } from "./samples.ts";

/** What a plan is made from. */
export type PlanRequest = {
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  /** Local date of the evening, `YYYY-MM-DD`. */
  readonly dateIso: string;
  /** In whose calendar it is (IANA name); left out: by longitude. */
  readonly zone?: string;
  readonly kit: Kit;
  readonly placeName?: string;
  readonly elevationM?: number;
  /** Expected at night; decides on batteries and cautions. */
  readonly temperatureC?: number;
  readonly windKmh?: number;
  readonly humidityPercent?: number;
  readonly framesPerSecond?: number;
  /** Moonless zenith of the place after dark, V mag/arcsec². */
  readonly darkZenithMag?: number;
};

/** A night's plan; times are ISO 8601 in UTC, `null` where the thing does not happen. */
export type NightPlan = {
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  readonly elevationM: number;
  readonly placeName: string | null;
  readonly date: string;
  /** By what the date is the evening's; the zone's name, or `null` by longitude. */
  readonly dateBy: "zone" | "longitude";
  readonly zone: string | null;
  /** The searched day: local mean solar noon to the next. */
  readonly searchStart: string;
  readonly searchEnd: string;

  readonly sunset: string | null;
  readonly sunrise: string | null;
  readonly civilDarkStart: string | null;
  readonly civilDarkEnd: string | null;
  readonly nauticalDarkStart: string | null;
  readonly nauticalDarkEnd: string | null;
  readonly darkStart: string | null;
  readonly darkEnd: string | null;
  readonly darkness: DarknessKind;
  readonly nauticalDarkness: DarknessKind;
  readonly civilDarkness: DarknessKind;
  /** Moment and altitude of the lowest Sun. */
  readonly nightMiddle: string;
  readonly sunLowestDeg: number;
  readonly darknessSentence: string;

  readonly moonrise: string | null;
  readonly moonset: string | null;
  readonly moonPresence: NightTimes["moon"]["kind"];
  readonly moonIlluminatedFraction: number;
  readonly moonPhaseName: string;
  /** Largest and mean brightening of the framed sky (its median) during the watch, magnitudes. */
  readonly moonWashMaxMag: number;
  readonly moonWashMeanMag: number;
  /** Highest stand during the watch, and when the Moon is in the frame. */
  readonly moonHighest: MoonCourse["highest"];
  readonly moonInFrame: MoonCourse["inFrame"];
  readonly moonSentence: string;

  readonly geomagneticLatitudeDeg: number;
  readonly geomagneticLongitudeDeg: number;
  /** By the centred dipole, only for comparison. */
  readonly dipoleLatitudeDeg: number;
  readonly geomagneticPoleBearingDeg: number;
  readonly declinationDeg: number;
  readonly inclinationDeg: number;
  readonly magneticMidnight: string;
  readonly fieldModel: string;
  /** False: the date lies outside the field model's years, and its nearest day was taken. */
  readonly fieldModelCoversDate: boolean;

  readonly facing: "north" | "south";
  readonly facingBearingDeg: number;
  /** `null` where no needle can be followed. */
  readonly facingCompassBearingDeg: number | null;
  /** By the zones of the World Magnetic Model. */
  readonly compassTrust: CompassTrust;
  readonly facingElevationDeg: number;
  readonly facingWhy: string;
  readonly magneticZenith: SkyDirection;
  readonly fieldOfViewDeg: { readonly widthDeg: number; readonly heightDeg: number };
  readonly aurora: readonly AuroraView[];
  readonly auroraSentence: string;
  /** By the hour of the watch; empty without one. */
  readonly auroraHours: readonly AuroraHour[];

  readonly kit: Kit;
  readonly maxExposureSeconds: number;
  readonly trail: TrailLimits;
  readonly start: { readonly quiet: StartingExposure; readonly lively: StartingExposure };
  readonly stoppingDown: StoppingDown;

  /** `null`: the night is too light for a watch. */
  readonly watch: PlanWatch | null;
  readonly budget: PlanBudget;
  readonly cold: PlanCold;
  readonly cautions: readonly Caution[];
  readonly samples: readonly PlanSample[];
};

/** Distance of the samples. */
const SAMPLE_MS = 600_000;

/**
 * The plan of one night: everything the photographer decides on before dark.
 *
 * @throws NightError `settings.invalid` with one sentence for a latitude of 91°, a 31 February, a
 *   cold that is none on Earth.
 * Sources: beside each part, in core/sky and in the files named plan… and kit….
 */
export function planNight(request: PlanRequest): NightPlan {
  const place = placeOf(request);
  const zone = request.zone ?? null;
  const times = nightTimes(request.dateIso, place, zone);
  const watch = planWatch(times);
  const aurora = auroraPart(place, times, { kit: request.kit, watch });
  const centre = {
    bearingDeg: aurora.facingBearingDeg,
    elevationDeg: aurora.facingElevationDeg,
  };
  const conditions = conditionsOf(request);
  const samples = samplesOf({ place, times, framing: { kit: request.kit, centre }, conditions });
  const kit = kitPart(request.kit, centre, place);
  const cold = coldOf(request);
  const budget = planBudget({
    kit: request.kit,
    watchSeconds: watch === null ? 0 : watch.hours * 3600,
    start: kit.start,
    temperatureC: cold.temperatureC,
    ...(request.framesPerSecond === undefined ? {} : { framesPerSecond: request.framesPerSecond }),
  });
  return {
    latitudeDeg: place.latitudeDeg,
    longitudeDeg: place.longitudeDeg,
    elevationM: place.elevationM,
    placeName: nameOrNull(request.placeName),
    date: request.dateIso,
    dateBy: zone === null ? "longitude" : "zone",
    zone,
    ...sunPart(times),
    ...moonPart(times, { samples, watch, kit: request.kit, centre }),
    ...aurora,
    ...kit,
    watch,
    budget,
    cold,
    cautions: cautionsOf({ cold }),
    samples,
  };
}

function nameOrNull(name: string | null | undefined): string | null {
  const trimmed = name?.trim() ?? "";
  return trimmed === "" ? null : trimmed;
}

function conditionsOf({ darkZenithMag }: PlanRequest): SkyConditions {
  return darkZenithMag === undefined
    ? DEFAULT_SKY_CONDITIONS
    : { ...DEFAULT_SKY_CONDITIONS, darkZenithMag };
}

function sunPart(times: NightTimes) {
  return {
    searchStart: isoOf(times.searched.startMs),
    searchEnd: isoOf(times.searched.endMs),
    sunset: isoOrNull(times.sunsetUtcMs),
    sunrise: isoOrNull(times.sunriseUtcMs),
    civilDarkStart: isoOrNull(times.civil.startUtcMs),
    civilDarkEnd: isoOrNull(times.civil.endUtcMs),
    nauticalDarkStart: isoOrNull(times.nautical.startUtcMs),
    nauticalDarkEnd: isoOrNull(times.nautical.endUtcMs),
    darkStart: isoOrNull(times.astronomical.startUtcMs),
    darkEnd: isoOrNull(times.astronomical.endUtcMs),
    darkness: times.astronomical.kind,
    nauticalDarkness: times.nautical.kind,
    civilDarkness: times.civil.kind,
    nightMiddle: isoOf(times.middleUtcMs),
    sunLowestDeg: times.sunAltitudeAtMiddleDeg,
    darknessSentence: darknessSentence(times),
  };
}

function moonPart(
  times: NightTimes,
  night: {
    readonly samples: readonly PlanSample[];
    readonly watch: PlanWatch | null;
    readonly kit: Kit;
    readonly centre: SkyDirection;
  },
) {
  const { samples, watch } = night;
  const { illuminatedFraction } = moonLight(times.middleUtcMs);
  const during = samples.filter(
    ({ time }) => watch === null || (time >= watch.start && time <= watch.end),
  );
  const wash = during.map(({ moonlightMag }) => moonlightMag);
  const moonWashMaxMag = Math.max(0, ...wash);
  const course = moonCourse(watch === null ? [] : during, night);
  const phaseName = moonPhaseName(moonElongationDeg(times.middleUtcMs));
  return {
    moonrise: isoOrNull(times.moon.riseUtcMs),
    moonset: isoOrNull(times.moon.setUtcMs),
    moonPresence: times.moon.kind,
    moonIlluminatedFraction: illuminatedFraction,
    moonPhaseName: phaseName,
    moonWashMaxMag,
    moonWashMeanMag: wash.reduce((sum, mag) => sum + mag, 0) / Math.max(1, wash.length),
    moonHighest: course.highest,
    moonInFrame: course.inFrame,
    moonSentence: moonSentence({
      presence: times.moon.kind,
      phaseName,
      illuminatedFraction,
      washMaxMag: moonWashMaxMag,
      hasWatch: watch !== null,
      isUpInWatch: course.highest !== null,
      isInFrame: course.inFrame.length > 0,
    }),
  };
}

function auroraPart(
  place: Place,
  times: NightTimes,
  { kit, watch }: { readonly kit: Kit; readonly watch: PlanWatch | null },
) {
  const field = magneticFieldAt(times.middleUtcMs);
  const northPole = geomagneticPole(field);
  const corrected = correctedPosition(field, place);
  const isNorthern = corrected.latitudeDeg >= 0;
  const elements = field.elementsAt(place.latitudeDeg, place.longitudeDeg);
  const aurora = Array.from({ length: 10 }, (_, kp) => auroraView(corrected.latitudeDeg, kp));
  const fieldOfView = fieldOfViewDeg(kit);
  const faced = faceAurora({
    place,
    northPole,
    isNorthern,
    quiet: aurora[2]!,
    isEverSeen: aurora.some(({ standing }) => standing !== "belowHorizon"),
    frameHeightDeg: fieldOfView.heightDeg,
    declinationDeg: elements.declinationDeg,
    inclinationDeg: elements.inclinationDeg,
  });
  const trust = compassTrust(elements.horizontalNt);
  const midnight = magneticMidnightUtcMs(times.middleUtcMs, corrected.longitudeDeg, field);
  return {
    geomagneticLatitudeDeg: corrected.latitudeDeg,
    geomagneticLongitudeDeg: corrected.longitudeDeg,
    dipoleLatitudeDeg: dipoleLatitudeDeg(place, northPole),
    geomagneticPoleBearingDeg: bearingDeg(place, isNorthern ? northPole : antipode(northPole)),
    declinationDeg: elements.declinationDeg,
    inclinationDeg: elements.inclinationDeg,
    magneticMidnight: isoOf(midnight),
    fieldModel: field.modelName,
    fieldModelCoversDate: field.isDateCovered,
    facing: faced.facing,
    facingBearingDeg: faced.centre.bearingDeg,
    facingCompassBearingDeg: trust === "none" ? null : faced.compassBearingDeg,
    compassTrust: trust,
    facingElevationDeg: faced.centre.elevationDeg,
    facingWhy: faced.why,
    magneticZenith: faced.magneticZenith,
    fieldOfViewDeg: fieldOfView,
    aurora,
    auroraSentence: auroraSentence(aurora, watch !== null),
    auroraHours:
      watch === null
        ? []
        : auroraHours({
            startMs: Date.parse(watch.start),
            endMs: Date.parse(watch.end),
            correctedLatitudeDeg: corrected.latitudeDeg,
            correctedLongitudeDeg: corrected.longitudeDeg,
            field,
          }),
  };
}

function kitPart(kit: Kit, centre: SkyDirection, place: Place) {
  const trail = trailLimits({ kit, centre, latitudeDeg: place.latitudeDeg });
  const start = startingExposures(kit, trail.recommendedSeconds);
  return {
    kit,
    maxExposureSeconds: trail.recommendedSeconds,
    trail,
    start,
    stoppingDown: stoppingDown(kit, start.quiet),
  };
}

function samplesOf(options: {
  readonly place: Place;
  readonly times: NightTimes;
  readonly framing: { readonly kit: Kit; readonly centre: SkyDirection };
  readonly conditions: SkyConditions;
}): readonly PlanSample[] {
  const { place, times, framing, conditions } = options;
  const directions = framedDirections(framing);
  const { startMs, endMs } = times.searched;
  const samples: PlanSample[] = [];
  for (let atUtcMs = startMs; atUtcMs <= endMs; atUtcMs += SAMPLE_MS) {
    const sky = skyBrightness({ atUtcMs, place, towards: framing.centre, conditions });
    samples.push({
      time: isoOf(atUtcMs),
      sunAltitudeDeg: sky.sun.altitudeDeg,
      sunAzimuthDeg: sky.sun.azimuthDeg,
      moonAltitudeDeg: sky.moon.altitudeDeg,
      moonAzimuthDeg: sky.moon.azimuthDeg,
      skyMagArcsec2: sky.magArcsec2,
      skyLuminanceCdM2: sky.luminanceCdM2,
      moonlightMag: moonlightOverMag({ atUtcMs, place, conditions }, directions),
    });
  }
  return samples;
}
