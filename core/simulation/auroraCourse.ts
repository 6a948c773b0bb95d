import { createRandom } from "../random.ts";
import { noiseAt, noiseLine } from "./noise.ts";

/** The kinds of night a sky can be made for. */
export type SkyScenario =
  "demo" | "quiet" | "breakup" | "double" | "pulsating" | "storm" | "cloudy";

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
type Substorm = {
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
 * The course of a scenario over a night.
 *
 * Sources: growth phase 1 to 2 h, expansion 10 to 30 min, recovery 0.5 to 2 h (Akasofu 1964, 2017);
 * onset grows exponentially (Kalmoni et al. 2015), three stops in 30 to 60 s (derived, from memory);
 * arcs drift at 0.1 km/s, surge fronts run at 2.5 to 5 km/s (Safargaleev et al. 2003), poleward
 * expansion 0.2 km/s (Akasofu 2017); IBC I to IV are 1, 10, 100, 1000 kR.
 */
export function auroraCourse(
  scenario: SkyScenario,
  durationSeconds: number,
  seed: string,
): AuroraCourse {
  const plot = plotOf(scenario, durationSeconds, createRandom(`${seed}/plot`).uniform());
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

/** The aurora in one second, while the substorms are laid over each other. */
type Second = {
  quietKr: number;
  surgeKr: number;
  surgeKm: number;
  activity: number;
  centreKm: number;
  spreadKm: number;
  patchKr: number;
  diffuseKr: number;
};

function fillSecond(
  course: AuroraCourse,
  plot: Plot,
  second: number,
  slow: Float32Array,
  quick: Float32Array,
): void {
  const now = quietSecond(plot, second, slow);
  for (const storm of plot.substorms) {
    const since = second - storm.onsetSeconds;
    if (since < -storm.growthSeconds) continue;
    const faded = since <= 0 ? 0 : Math.min(1, since / storm.recoverySeconds);
    grow(now, storm, since, faded);
    if (since >= 0) breakUp(now, storm, { second, since, faded, quick });
  }
  const before = Math.max(0, second - 1);
  const { still: foldStill, active: foldActive } = FOLD_KM_PER_S;
  const { still: rayStill, active: rayActive } = RAY_KM_PER_S;
  course.quietKr[second] = now.quietKr;
  course.surgeKr[second] = Math.max(now.surgeKr, now.quietKr);
  course.surgeKm[second] = now.surgeKm;
  course.activity[second] = Math.min(1, now.activity);
  course.foldKm[second] = course.foldKm[before]! + foldStill + foldActive * now.activity;
  course.rayKm[second] = course.rayKm[before]! + rayStill + rayActive * now.activity;
  course.centreKm[second] = now.centreKm;
  course.spreadKm[second] = now.spreadKm;
  course.patchKr[second] = now.patchKr;
  course.diffuseKr[second] = now.diffuseKr;
  course.cover[second] = coverAt(plot, second);
}

/** A second without a substorm: everything breathes slowly. Invented. */
function quietSecond(plot: Plot, second: number, slow: Float32Array): Second {
  return {
    quietKr: plot.quietKr * (0.55 + 0.9 * noiseAt(slow, second / 700)),
    surgeKr: 0,
    surgeKm: 0,
    activity: 0.04 + 0.1 * noiseAt(slow, second / 420 + 80),
    centreKm: plot.centreKm + 60 * (noiseAt(slow, second / 2600 + 300) - 0.5),
    spreadKm: 55,
    patchKr: plot.patchKr * (0.6 + 0.8 * noiseAt(slow, second / 500 + 900)),
    diffuseKr: 0.9,
  };
}

/** The growth phase: arcs brighten and come equatorward; afterwards they go back. */
function grow(now: Second, storm: Substorm, since: number, faded: number): void {
  const grown = Math.min(1, (since + storm.growthSeconds) / storm.growthSeconds);
  const swell = grown * (1 - faded);
  now.quietKr *= 1 + 1.1 * swell;
  now.activity = Math.max(now.activity, 0.2 * swell ** 2);
  now.centreKm -= 150 * grown ** 1.5 * (1 - faded);
  now.diffuseKr += 1.6 * swell;
}

/** Onset, expansion and recovery: the surge, its stir, and the patches it leaves behind. */
function breakUp(
  now: Second,
  storm: Substorm,
  at: {
    readonly second: number;
    readonly since: number;
    readonly faded: number;
    readonly quick: Float32Array;
  },
): void {
  const { second, since, faded, quick } = at;
  const { quietKr } = now;
  const flicker =
    1.5 * (noiseAt(quick, second / 45) - 0.45) + 0.5 * (noiseAt(quick, second / 11 + 700) - 0.5);
  const risen = Math.min(1, since / storm.riseSeconds);
  const after = Math.max(0, since - storm.riseSeconds);
  const decay = Math.exp(-after / (0.55 * storm.expansionSeconds));
  const peakKr = storm.peakKr * decay * 2 ** (flicker * Math.min(1, after / 20));
  const levelKr = quietKr * (Math.max(quietKr, peakKr) / quietKr) ** risen;
  if (levelKr > now.surgeKr) {
    now.surgeKr = levelKr;
    now.surgeKm = 70 + FRONT_KM_PER_S * since;
  }
  const stir = risen * Math.exp(-after / storm.expansionSeconds);
  now.activity = Math.max(now.activity, stir * (0.75 + 0.5 * noiseAt(quick, second / 40 + 200)));
  const expandedSeconds = Math.min(since, storm.expansionSeconds);
  now.centreKm += POLEWARD_KM_PER_S * 0.8 * expandedSeconds * (1 - faded);
  now.spreadKm += 45 * Math.min(1, since / 300) * (1 - faded);
  now.diffuseKr += 0.06 * now.surgeKr * risen;
  const pulsing = Math.min(1, since / (1.5 * storm.expansionSeconds)) ** 3 * (1 - faded ** 2);
  now.patchKr = Math.max(now.patchKr, 6 * pulsing);
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

function plotOf(scenario: SkyScenario, duration: number, luck: number): Plot {
  const quiet: Plot = { quietKr: 5, centreKm: 330, substorms: [], patchKr: 0, clouds: [] };
  const storm = (onset: number, peakKr: number, riseSeconds = 45): Substorm => ({
    onsetSeconds: duration * (onset + 0.01 * (luck - 0.5)),
    growthSeconds: Math.min(5400, duration * 0.25),
    riseSeconds,
    peakKr,
    expansionSeconds: Math.min(1500, duration * 0.12),
    recoverySeconds: Math.min(7200, duration * 0.35),
  });
  switch (scenario) {
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
