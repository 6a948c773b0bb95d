import { createRandom } from "../random.ts";
import { EARTH_RADIUS_KM } from "../sky/auroraGeometry.ts";
import { RAD_PER_DEG } from "../sky/angles.ts";
import { foldKmPerSecond, rayKmPerSecond, type AuroraMoment } from "./auroraCourse.ts";
import { addFootSpot, isNearMap, type FieldLineMap } from "./fieldLines.ts";
import { noiseAt, noiseLine } from "./noise.ts";

/** The arcs of a night: where they lie, how they fold, where their rays are. Plain numbers. */
export type Curtains = {
  /** Azimuth toward the geomagnetic pole of the hemisphere, degrees. */
  readonly polewardDeg: number;
  /** Geomagnetic latitude without its sign: arcs follow its parallels. */
  readonly latitudeDeg: number;
  readonly arcs: readonly Arc[];
  /** Where along the arcs a surge begins, km to the right of the poleward direction. */
  readonly surgeStartKm: number;
};

export type Arc = {
  /** Distance from the main arc in units of the night's spread. */
  readonly place: number;
  /** Brightness over that of the main arc, in quiet and in a surge. */
  readonly quietShare: number;
  readonly surgeShare: number;
  /** Random turns of the folds, 0..1. */
  readonly turns: readonly number[];
  /** Slow change of brightness along the arc, local strength of the folds, and the rays. */
  readonly patches: Float32Array;
  readonly strength: Float32Array;
  readonly rays: Float32Array;
};

/** The arcs of every night: place, share in quiet, share in a surge. Invented. */
const ARC_PLACES: readonly (readonly [number, number, number])[] = [
  [0, 1, 1],
  [1, 0.4, 0.75],
  [-0.9, 0.1, 0.6],
  [2.2, 0.25, 0.8],
  [-2, 0.03, 0.4],
  [3.6, 0.12, 0.45],
];

/** The arcs for a seed. */
export function createCurtains(options: {
  readonly seed: string;
  readonly polewardDeg: number;
  readonly latitudeDeg: number;
}): Curtains {
  const { seed, polewardDeg, latitudeDeg } = options;
  const random = createRandom(`${seed}/arcs`);
  return {
    polewardDeg,
    latitudeDeg: Math.abs(latitudeDeg),
    surgeStartKm: 240 * (random.uniform() - 0.4),
    arcs: ARC_PLACES.map(([place, quietShare, surgeShare], index) => ({
      place: place + 0.3 * (random.uniform() - 0.5),
      quietShare,
      surgeShare,
      turns: Array.from({ length: 8 }, () => random.uniform()),
      patches: noiseLine(`${seed}/patches ${index}`),
      strength: noiseLine(`${seed}/strength ${index}`),
      rays: noiseLine(`${seed}/rays ${index}`),
    })),
  };
}

/**
 * Folds: length along the arc and how far they swing at full activity, km, and how fast they run
 * against the night's fold speed. Scales from curls to folds to spirals.
 * Source: Trondsen and Cogger 1998; Hallinan (from memory, orders of magnitude).
 */
const FOLDS: readonly { lengthKm: number; swingKm: number; speed: number }[] = [
  { lengthKm: 230, swingKm: 26, speed: 0.5 },
  { lengthKm: 92, swingKm: 13, speed: 0.9 },
  { lengthKm: 41, swingKm: 6.5, speed: 1.2 },
  { lengthKm: 17, swingKm: 2.4, speed: -0.8 },
];

/** Waves that every arc has, quiet ones too: length and swing, km. Invented. */
const WAVES: readonly { lengthKm: number; swingKm: number }[] = [
  { lengthKm: 1250, swingKm: 30 },
  { lengthKm: 430, swingKm: 9 },
];

/** Rays: width along the arc, km, contrast at full activity, speed against the ray speed. */
const RAYS: readonly { widthKm: number; contrast: number; speed: number }[] = [
  { widthKm: 28, contrast: 1.2, speed: 0.25 },
  { widthKm: 9, contrast: 1, speed: -0.5 },
  { widthKm: 3.4, contrast: 0.85, speed: 1 },
  { widthKm: 1.5, contrast: 0.5, speed: -1.4 },
];

/** Half-thickness of a curtain, km: quiet arcs are broad, active ones thin. Common practice, no source. */
const STILL_SIGMA_KM = 6.5;
const ACTIVE_SIGMA_KM = 1.4;

/** Moments of an exposure, at most; what moves further is drawn broader instead. */
const MOMENTS_MAX = 11;

/** Moments into which an exposure is cut so that motion smears without gaps. */
export function momentCount(moment: AuroraMoment, seconds: number, finest: number): number {
  const smearKm = Math.max(foldKmPerSecond(moment), 0.4 * rayKmPerSecond(moment)) * seconds;
  return Math.min(MOMENTS_MAX, Math.max(1, Math.ceil(smearKm / Math.max(1.1, finest))));
}

const SINE_STEPS = 4096;
const SINE = Float32Array.from({ length: SINE_STEPS }, (_, index) =>
  Math.sin((2 * Math.PI * index) / SINE_STEPS),
);

/** Sine of an angle in turns. */
function sineOfTurn(turn: number): number {
  return SINE[((turn - Math.floor(turn)) * SINE_STEPS) & (SINE_STEPS - 1)]!;
}

/**
 * Adds one moment of all arcs to the light of a map's footpoints, kR.
 *
 * @param weight  Share of the exposure that the moment stands for.
 * @param spanSeconds  The time it stands for: what moves is drawn that much broader.
 * @param sigmaKmMin  Draws nothing thinner than this; for what has spread since.
 */
export function addCurtains(options: {
  readonly curtains: Curtains;
  readonly moment: AuroraMoment;
  readonly map: FieldLineMap;
  readonly feet: Float32Array;
  readonly weight: number;
  readonly spanSeconds: number;
  readonly sigmaKmMin?: number;
}): void {
  const { curtains, moment } = options;
  const surging = Math.max(0, Math.min(1, moment.surgeKr / Math.max(1e-6, moment.quietKr) - 1));
  for (const arc of curtains.arcs) {
    const share = arc.quietShare + (arc.surgeShare - arc.quietShare) * surging;
    if (share * moment.surgeKr < 0.02) continue;
    addArc(options, arc, share);
  }
}

function addArc(options: Parameters<typeof addCurtains>[0], arc: Arc, share: number): void {
  const { curtains, moment, map, feet, weight, spanSeconds } = options;
  const { activity } = moment;
  const liveliness = Math.sqrt(activity);
  const smearKm = 0.42 * foldKmPerSecond(moment) * spanSeconds;
  const sigma = Math.hypot(
    STILL_SIGMA_KM + (ACTIVE_SIGMA_KM - STILL_SIGMA_KM) * Math.min(1, 1.25 * liveliness),
    smearKm,
    options.sigmaKmMin ?? 0,
  );
  const baseKm = moment.centreKm + arc.place * moment.spreadKm;
  const tan = Math.tan(Math.min(80, curtains.latitudeDeg) * RAD_PER_DEG);
  const bendPerKm = tan / (2 * EARTH_RADIUS_KM);
  const [sinPole, cosPole] = [
    Math.sin(curtains.polewardDeg * RAD_PER_DEG),
    Math.cos(curtains.polewardDeg * RAD_PER_DEG),
  ];
  const contrast = 0.3 + 0.75 * liveliness;
  const evenOut = Math.exp(-0.34 * contrast * contrast);

  // Steps even in angle: fine where the arc is near, coarse where it is far.
  const nearKm = Math.max(60, Math.abs(baseKm));
  const step = Math.max(map.thetaStep * 0.65, (0.55 * sigma) / nearKm / 3);
  const reach = Math.atan(1100 / nearKm);
  const count = Math.ceil((2 * reach) / step);
  let [beforeX, beforeY] = [NaN, NaN];
  for (let index = 0; index <= count; index += 1) {
    const u = nearKm * Math.tan(-reach + index * step);
    if (!isNearMap(map, u * cosPole + baseKm * sinPole, baseKm * cosPole - u * sinPole)) {
      beforeX = NaN;
      continue;
    }
    let x = u;
    let y = baseKm + u * u * bendPerKm;
    for (let wave = 0; wave < WAVES.length; wave += 1) {
      const { lengthKm, swingKm } = WAVES[wave]!;
      const drift = moment.atSeconds * 0.05;
      y += swingKm * sineOfTurn((u - drift) / lengthKm + arc.turns[wave]!);
    }
    for (let fold = 0; fold < FOLDS.length; fold += 1) {
      const { lengthKm, swingKm, speed } = FOLDS[fold]!;
      const local = noiseAt(arc.strength, u / (2.3 * lengthKm) + fold * 700 + moment.foldKm / 900);
      const swing = swingKm * Math.min(1, activity ** 0.7) * Math.max(0, 1.9 * local - 0.3);
      const turn = (u - speed * moment.foldKm) / lengthKm + arc.turns[2 + fold]!;
      y += swing * sineOfTurn(turn);
      x += 0.9 * swing * sineOfTurn(turn + 0.25);
    }
    const length = Math.hypot(x - beforeX, y - beforeY);
    [beforeX, beforeY] = [x, y];
    if (!(length < 200)) continue;

    const spread = (moment.surgeKm - Math.abs(u - curtains.surgeStartKm)) / 55;
    const surged = spread > 6 ? 1 : spread < -6 ? 0 : 1 / (1 + Math.exp(-spread));
    const level = moment.quietKr + (moment.surgeKr - moment.quietKr) * surged;
    const patch = noiseAt(arc.patches, (u - 0.12 * moment.foldKm) / 160 + moment.atSeconds / 900);
    let ray = 0;
    for (let octave = 0; octave < RAYS.length; octave += 1) {
      const { widthKm, contrast: depth, speed } = RAYS[octave]!;
      const at = (u - speed * moment.rayKm) / widthKm + octave * 1013;
      ray += depth * (2 * noiseAt(arc.rays, at) - 1);
    }
    const light = share * level * (0.25 + 1.5 * patch) * Math.exp(contrast * ray) * evenOut;
    const peak = (weight * light * length) / (2.5066 * sigma);
    addFootSpot(map, feet, x * cosPole + y * sinPole, y * cosPole - x * sinPole, peak, sigma);
  }
}

/** A patch that comes and goes: where, how large, how often. */
type Patch = {
  readonly xKm: number;
  readonly yKm: number;
  readonly radiusKm: number;
  readonly periodSeconds: number;
  readonly turn: number;
  readonly lit: number;
  /** Offsets of the spots it is made of, in radii, with their size and strength. */
  readonly spots: readonly (readonly [x: number, y: number, size: number, strength: number])[];
};

/** The patches of a night and the course of their pulses. */
export type Patches = {
  readonly patches: readonly Patch[];
  readonly irregular: Float32Array;
};

/** Breadth of the field in which patches drift before they come round again, km. */
const PATCH_FIELD_KM = 1100;

/** Drift of patches along the arcs, km/s. Source: convection, common practice. */
const PATCH_KM_PER_S = 0.35;

/**
 * Patches for a seed. Periods 2 to 20 s, mostly 6 to 10, erratic (Humberset et al. 2016).
 */
export function createPatches(seed: string): Patches {
  const random = createRandom(`${seed}/pulsation`);
  const patches = Array.from({ length: 90 }, (): Patch => {
    const slant = random.normal() * 0.4;
    return {
      xKm: PATCH_FIELD_KM * (random.uniform() - 0.5),
      yKm: 420 * random.uniform() - 130,
      radiusKm: 14 + 34 * random.uniform() ** 1.6,
      periodSeconds: 2 + 18 * random.uniform() * random.uniform() + 3 * random.uniform(),
      turn: random.uniform(),
      lit: 0.3 + 0.3 * random.uniform(),
      spots: Array.from({ length: 16 }, () => {
        const along = 2.6 * (random.uniform() - 0.5);
        const across = 0.75 * (random.uniform() - 0.5) + 0.5 * along * slant;
        return [along, across, 0.1 + 0.16 * random.uniform(), 0.2 + 0.8 * random.uniform() ** 2];
      }),
    };
  });
  return { patches, irregular: noiseLine(`${seed}/pulses`) };
}

/** Brightness of a patch over its peak: on and off with soft edges, each pulse unlike the last. */
function pulse(patch: Patch, irregular: Float32Array, atSeconds: number): number {
  const late = 0.8 * noiseAt(irregular, atSeconds / (3 * patch.periodSeconds) + patch.turn * 4000);
  const turn = atSeconds / patch.periodSeconds + patch.turn + late;
  const part = turn - Math.floor(turn);
  const strength = noiseAt(irregular, Math.floor(turn) * 1.7 + patch.turn * 900);
  const edge = 0.08;
  const shape = Math.max(0, Math.min(1, part / edge, (patch.lit - part) / edge));
  // The green line's own lifetime (0.7 s) leaves a tail; a third of the light never goes out.
  return 0.12 + 0.88 * shape * (0.35 + 0.65 * strength);
}

/**
 * Adds the patches, averaged over an exposure, to the light of a map's footpoints, kR.
 *
 * @param fromSeconds  Of the night; with `seconds`, the exposure.
 */
export function addPatches(options: {
  readonly patches: Patches;
  readonly curtains: Curtains;
  readonly moment: AuroraMoment;
  readonly map: FieldLineMap;
  readonly feet: Float32Array;
  readonly fromSeconds: number;
  readonly seconds: number;
}): void {
  const { patches, curtains, moment, map, feet, fromSeconds, seconds } = options;
  if (moment.patchKr < 0.02) return;
  const [sinPole, cosPole] = [
    Math.sin(curtains.polewardDeg * RAD_PER_DEG),
    Math.cos(curtains.polewardDeg * RAD_PER_DEG),
  ];
  const samples = Math.min(12, Math.max(1, Math.ceil(seconds / 0.5)));
  for (const patch of patches.patches) {
    let mean = 0;
    for (let index = 0; index < samples; index += 1) {
      const at = fromSeconds + (seconds * (index + 0.5)) / samples;
      mean += pulse(patch, patches.irregular, at) / samples;
    }
    const drifted = patch.xKm + PATCH_KM_PER_S * moment.atSeconds + PATCH_FIELD_KM / 2;
    const xKm =
      drifted - PATCH_FIELD_KM * Math.floor(drifted / PATCH_FIELD_KM) - PATCH_FIELD_KM / 2;
    // Patches fade at the ends of the field, where they come round.
    const fade = Math.min(1, (PATCH_FIELD_KM / 2 - Math.abs(xKm)) / 120);
    for (const [along, across, size, strength] of patch.spots) {
      const x = xKm + along * patch.radiusKm;
      const y = patch.yKm + across * patch.radiusKm;
      addFootSpot(
        map,
        feet,
        x * cosPole + y * sinPole,
        y * cosPole - x * sinPole,
        moment.patchKr * mean * strength * fade,
        Math.max(2.5, size * patch.radiusKm),
      );
    }
  }
}

/** Adds the even glow in which the arcs lie, kR. */
export function addDiffuse(options: {
  readonly curtains: Curtains;
  readonly moment: AuroraMoment;
  readonly map: FieldLineMap;
  readonly feet: Float32Array;
}): void {
  const { curtains, moment, map, feet } = options;
  const [sinPole, cosPole] = [
    Math.sin(curtains.polewardDeg * RAD_PER_DEG),
    Math.cos(curtains.polewardDeg * RAD_PER_DEG),
  ];
  const sigma = 60;
  const stepKm = 55;
  for (let x = -1000; x <= 1000; x += stepKm) {
    const sag = (x * x * Math.tan(curtains.latitudeDeg * RAD_PER_DEG)) / (2 * EARTH_RADIUS_KM);
    const arc = curtains.arcs[0]!;
    const uneven = 0.4 + 1.2 * noiseAt(arc.patches, x / 260 + moment.atSeconds / 1400 + 2000);
    const y = moment.centreKm + 10 + sag;
    const peak = (moment.diffuseKr * uneven * stepKm) / (2.5066 * sigma);
    addFootSpot(map, feet, x * cosPole + y * sinPole, y * cosPole - x * sinPole, peak, sigma);
  }
}
