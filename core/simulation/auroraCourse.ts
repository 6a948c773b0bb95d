import { createRandom } from "../random.ts";
import { noiseAt, noiseLine } from "./noise.ts";

/** The kinds of night a sky can be made for. */
export type SkyStory = "demo" | "quiet" | "breakup" | "double" | "pulsating" | "storm" | "cloudy";

/**
 * How the aurora and the clouds go through the night: one column a quantity, one row a second.
 *
 * Distances are on the ground toward the pole; intensities are what an eye straight below would see.
 */
export type AuroraCourse = {
  readonly count: number;
  /** 557.7 nm of the brightest arc where the surge has not come, kR. */
  readonly quietKr: Float32Array;
  /** The same where it has come, kR. */
  readonly surgeKr: Float32Array;
  /** Half of the length of arc over which the surge has spread, km. */
  readonly surgeKm: Float32Array;
  /** 0 still .. 1 breakup: folds, rays and speeds. */
  readonly activity: Float32Array;
  /** Path of the folds along the arc, km. */
  readonly foldKm: Float32Array;
  /** Path of the rays along the arc, km. */
  readonly rayKm: Float32Array;
  /** Ground distance of the main arc, km. */
  readonly centreKm: Float32Array;
  /** Distance from arc to arc, km. */
  readonly spreadKm: Float32Array;
  /** Pulsating patches at their brightest, kR. */
  readonly patchKr: Float32Array;
  /** Even glow about the arcs, kR. */
  readonly diffuseKr: Float32Array;
  /** Cloud, 0..1. */
  readonly cover: Float32Array;
};

/** One row of a course, between its seconds. */
export type AuroraMoment = { readonly atSeconds: number } & {
  readonly [Column in Exclude<keyof AuroraCourse, "count">]: number;
};

/** A substorm: growth, onset, expansion, recovery. Times in seconds. */
export type Substorm = {
  readonly onsetSeconds: number;
  readonly growthSeconds: number;
  /** From onset to the peak. */
  readonly riseSeconds: number;
  readonly peakKr: number;
  readonly expansionSeconds: number;
  readonly recoverySeconds: number;
};

type Plot = {
  readonly quietKr: number;
  readonly centreKm: number;
  readonly substorms: readonly Substorm[];
  /** Patches besides those that follow a substorm, kR. */
  readonly patchKr: number;
  readonly clouds: readonly { from: number; to: number; cover: number }[];
};

/**
 * The course of a story over a night.
 *
 * Sources: growth phase 1 to 2 h, expansion 10 to 30 min, recovery 0.5 to 2 h (Akasofu 1964, 2017);
 * onset grows exponentially (Kalmoni et al. 2015), three stops in 30 to 60 s (derived, from memory);
 * arcs drift at 0.1 km/s, surge fronts run at 2.5 to 5 km/s (Safargaleev et al. 2003), poleward
 * expansion 0.2 km/s (Akasofu 2017); IBC I to IV are 1, 10, 100, 1000 kR.
 */
export function auroraCourse(story: SkyStory, durationSeconds: number, seed: string): AuroraCourse {
  const plot = plotOf(story, durationSeconds, createRandom(`${seed}/plot`).uniform());
  const count = Math.ceil(durationSeconds) + 2;
  const column = (): Float32Array => new Float32Array(count);
  const course = {
    count,
    quietKr: column(),
    surgeKr: column(),
    surgeKm: column(),
    activity: column(),
    foldKm: column(),
    rayKm: column(),
    centreKm: column(),
    spreadKm: column(),
    patchKr: column(),
    diffuseKr: column(),
    cover: column(),
  };
  const slow = noiseLine(`${seed}/slow`);
  const quick = noiseLine(`${seed}/quick`);
  for (let second = 0; second < count; second += 1) {
    fillSecond(course, plot, second, slow, quick);
  }
  return course;
}

/** Kilometres a second at rest, and what full activity adds. Source: see `auroraCourse`. */
const FOLD_KM_PER_S = { still: 0.1, active: 2.4 };
const RAY_KM_PER_S = { still: 0.25, active: 5.5 };
const POLEWARD_KM_PER_S = 0.2;
const FRONT_KM_PER_S = 3.2;

function fillSecond(
  course: AuroraCourse,
  plot: Plot,
  second: number,
  slow: Float32Array,
  quick: Float32Array,
): void {
  const breath = 0.55 + 0.9 * noiseAt(slow, second / 700);
  const flicker =
    1.5 * (noiseAt(quick, second / 45) - 0.45) + 0.5 * (noiseAt(quick, second / 11 + 700) - 0.5);
  let quiet = plot.quietKr * breath;
  let surge = 0;
  let surgeKm = 0;
  let activity = 0.04 + 0.1 * noiseAt(slow, second / 420 + 80);
  let centre = plot.centreKm + 60 * (noiseAt(slow, second / 2600 + 300) - 0.5);
  let spread = 55;
  let patches = plot.patchKr * (0.6 + 0.8 * noiseAt(slow, second / 500 + 900));
  let diffuse = 0.9;
  for (const storm of plot.substorms) {
    const since = second - storm.onsetSeconds;
    if (since < -storm.growthSeconds) continue;
    const grown = Math.min(1, (since + storm.growthSeconds) / storm.growthSeconds);
    const faded = since <= 0 ? 0 : Math.min(1, since / storm.recoverySeconds);
    const swell = grown * (1 - faded);
    quiet *= 1 + 1.1 * swell;
    activity = Math.max(activity, 0.2 * swell ** 2);
    centre -= 150 * grown ** 1.5 * (1 - faded);
    diffuse += 1.6 * swell;
    if (since < 0) continue;
    const risen = Math.min(1, since / storm.riseSeconds);
    const after = Math.max(0, since - storm.riseSeconds);
    const decay = Math.exp(-after / (0.55 * storm.expansionSeconds));
    const peak = storm.peakKr * decay * 2 ** (flicker * Math.min(1, after / 20));
    const level = quiet * (Math.max(quiet, peak) / quiet) ** risen;
    if (level > surge) {
      surge = level;
      surgeKm = 70 + FRONT_KM_PER_S * since;
    }
    const stir = risen * Math.exp(-after / storm.expansionSeconds);
    activity = Math.max(activity, stir * (0.75 + 0.5 * noiseAt(quick, second / 40 + 200)));
    centre += POLEWARD_KM_PER_S * 0.8 * Math.min(since, storm.expansionSeconds) * (1 - faded);
    spread += 45 * Math.min(1, since / 300) * (1 - faded);
    diffuse += 0.06 * surge * risen;
    const pulsing = Math.min(1, since / (1.5 * storm.expansionSeconds)) ** 3 * (1 - faded ** 2);
    patches = Math.max(patches, 6 * pulsing);
  }
  const before = Math.max(0, second - 1);
  course.quietKr[second] = quiet;
  course.surgeKr[second] = Math.max(surge, quiet);
  course.surgeKm[second] = surgeKm;
  course.activity[second] = Math.min(1, activity);
  course.foldKm[second] =
    course.foldKm[before]! + FOLD_KM_PER_S.still + FOLD_KM_PER_S.active * activity;
  course.rayKm[second] =
    course.rayKm[before]! + RAY_KM_PER_S.still + RAY_KM_PER_S.active * activity;
  course.centreKm[second] = centre;
  course.spreadKm[second] = spread;
  course.patchKr[second] = patches;
  course.diffuseKr[second] = diffuse;
  course.cover[second] = coverAt(plot, second);
}

/** Cloud comes and goes over twenty minutes, or a fifth of its stay if that is less. */
function coverAt(plot: Plot, second: number): number {
  let cover = 0;
  for (const cloud of plot.clouds) {
    const edge = Math.min(1200, (cloud.to - cloud.from) / 5);
    const inside = Math.min((second - cloud.from) / edge, (cloud.to - second) / edge, 1);
    cover = Math.max(cover, cloud.cover * Math.max(0, inside));
  }
  return cover;
}

function plotOf(story: SkyStory, duration: number, luck: number): Plot {
  const quiet: Plot = { quietKr: 5, centreKm: 330, substorms: [], patchKr: 0, clouds: [] };
  const storm = (onset: number, peakKr: number, riseSeconds = 45): Substorm => ({
    onsetSeconds: duration * (onset + 0.01 * (luck - 0.5)),
    growthSeconds: Math.min(5400, duration * 0.25),
    riseSeconds,
    peakKr,
    expansionSeconds: Math.min(1500, duration * 0.12),
    recoverySeconds: Math.min(7200, duration * 0.35),
  });
  switch (story) {
    case "demo":
      return {
        ...quiet,
        substorms: [storm(0.37, 220), storm(0.62, 90, 60)],
        clouds: [{ from: duration * 0.5, to: duration * 0.57, cover: 0.55 }],
      };
    case "quiet":
      return { ...quiet, quietKr: 4 };
    case "breakup":
      return { ...quiet, substorms: [storm(0.45, 300, 35)] };
    case "double":
      return { ...quiet, substorms: [storm(0.3, 160), storm(0.58, 350, 35)] };
    case "pulsating":
      return { ...quiet, quietKr: 2, centreKm: 240, patchKr: 6 };
    case "storm":
      return {
        ...quiet,
        quietKr: 14,
        centreKm: 170,
        substorms: [storm(0.2, 500, 30), storm(0.4, 900, 30), storm(0.65, 600, 30)],
        patchKr: 5,
      };
    case "cloudy":
      return {
        ...quiet,
        substorms: [storm(0.5, 200)],
        clouds: [
          { from: duration * 0.15, to: duration * 0.45, cover: 0.6 },
          { from: duration * 0.55, to: duration * 1.2, cover: 0.95 },
        ],
      };
  }
}

/** The course at a moment, linear between its seconds; before and after it stands still. */
export function auroraMoment(course: AuroraCourse, atSeconds: number): AuroraMoment {
  const at = Math.min(course.count - 1.001, Math.max(0, atSeconds));
  const row = Math.floor(at);
  const part = at - row;
  const mix = (column: Float32Array): number =>
    column[row]! + (column[row + 1]! - column[row]!) * part;
  return {
    atSeconds,
    quietKr: mix(course.quietKr),
    surgeKr: mix(course.surgeKr),
    surgeKm: mix(course.surgeKm),
    activity: mix(course.activity),
    foldKm: mix(course.foldKm),
    rayKm: mix(course.rayKm),
    centreKm: mix(course.centreKm),
    spreadKm: mix(course.spreadKm),
    patchKr: mix(course.patchKr),
    diffuseKr: mix(course.diffuseKr),
    cover: mix(course.cover),
  };
}

/** Speed of the folds along the arcs at a moment, km/s. */
export function foldKmPerSecond(moment: AuroraMoment): number {
  return FOLD_KM_PER_S.still + FOLD_KM_PER_S.active * moment.activity;
}

/** Speed of the rays along the arcs at a moment, km/s. */
export function rayKmPerSecond(moment: AuroraMoment): number {
  return RAY_KM_PER_S.still + RAY_KM_PER_S.active * moment.activity;
}
