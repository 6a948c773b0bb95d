import { createRandom } from "../random.ts";
import { EARTH_RADIUS_KM } from "../sky/auroraGeometry.ts";
import { RAD_PER_DEG } from "../sky/angles.ts";
import { foldKmPerSecond, rayKmPerSecond, type AuroraMoment } from "./auroraCourse.ts";
import { isNearMap, type FieldLineMap } from "./fieldLineMap.ts";
import { addFootSpot } from "./footSpot.ts";
import { noiseAt, noiseLine } from "./noise.ts";

/** The arcs of a night: where they lie, how they fold, where their rays are. Plain numbers. */
export type Curtains = {
  /** Sine and cosine of the azimuth toward the geomagnetic pole of the hemisphere. */
  readonly sinPole: number;
  readonly cosPole: number;
  /** Geomagnetic latitude without its sign: arcs follow its parallels. */
  readonly latitudeDeg: number;
  readonly arcs: readonly Arc[];
  /** Where along the arcs a surge begins, km to the right of the poleward direction. */
  readonly surgeStartKm: number;
};

/** One arc of the aurora. */
type Arc = {
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

/**
 * The arcs for a seed.
 *
 * @param polewardDeg  Azimuth toward the geomagnetic pole of the hemisphere.
 * @param latitudeDeg  Geomagnetic.
 */
export function createCurtains(options: {
  readonly seed: string;
  readonly polewardDeg: number;
  readonly latitudeDeg: number;
}): Curtains {
  const { seed, polewardDeg, latitudeDeg } = options;
  const random = createRandom(`${seed}/arcs`);
  return {
    sinPole: Math.sin(polewardDeg * RAD_PER_DEG),
    cosPole: Math.cos(polewardDeg * RAD_PER_DEG),
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
  { lengthKm: 230, swingKm: 26, speed: 0.9 },
  { lengthKm: 92, swingKm: 13, speed: 1 },
  { lengthKm: 41, swingKm: 6.5, speed: 1.1 },
  { lengthKm: 17, swingKm: 2.4, speed: 1.2 },
];

/** Waves that every arc has, quiet ones too: length and swing, km. Invented. */
const WAVES: readonly { lengthKm: number; swingKm: number }[] = [
  { lengthKm: 1250, swingKm: 30 },
  { lengthKm: 430, swingKm: 9 },
];

/**
 * Rays: width along the arc, km, contrast at full activity, and how much of their way ahead of the
 * folds they run; the broad ones are carried along.
 */
const RAYS: readonly { widthKm: number; contrast: number; ahead: number }[] = [
  { widthKm: 28, contrast: 1.2, ahead: 0 },
  { widthKm: 9, contrast: 1, ahead: 0 },
  { widthKm: 3.4, contrast: 0.85, ahead: 1 },
  { widthKm: 1.5, contrast: 0.5, ahead: 1.4 },
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
  const { curtains, moment, map, feet, weight } = options;
  const { sinPole, cosPole } = curtains;
  const sigmaKm = thicknessKm(options);
  const baseKm = moment.centreKm + arc.place * moment.spreadKm;
  const bendPerKm =
    Math.tan(Math.min(80, curtains.latitudeDeg) * RAD_PER_DEG) / (2 * EARTH_RADIUS_KM);
  const contrast = 0.3 + 0.75 * Math.sqrt(moment.activity);
  // What the rays' contrast adds to the mean is taken off again.
  const evenOut = Math.exp(-0.34 * contrast * contrast);

  // Steps even in angle: fine where the arc is near, coarse where it is far.
  const nearKm = Math.max(60, Math.abs(baseKm));
  const step = Math.max(map.thetaStep * 0.65, (0.55 * sigmaKm) / nearKm / 3);
  const reach = Math.atan(1100 / nearKm);
  const count = Math.ceil((2 * reach) / step);
  let before: Ground = NOWHERE;
  for (let index = 0; index <= count; index += 1) {
    const alongKm = nearKm * Math.tan(-reach + index * step);
    const unfoldedEastKm = alongKm * cosPole + baseKm * sinPole;
    if (!isNearMap(map, unfoldedEastKm, baseKm * cosPole - alongKm * sinPole)) {
      before = NOWHERE;
      continue;
    }
    const here = folded(arc, moment, alongKm, baseKm + alongKm * alongKm * bendPerKm);
    const lengthKm = Math.hypot(here.xKm - before.xKm, here.yKm - before.yKm);
    before = here;
    // The first point of a piece has no length yet.
    if (!(lengthKm < 200)) continue;

    const kilorayleigh = share * levelKr(curtains, moment, alongKm);
    const patch = patchAt(arc, moment, alongKm);
    const rays = Math.exp(contrast * raysAt(arc, moment, alongKm));
    const light = kilorayleigh * (0.25 + 1.5 * patch) * rays * evenOut;
    const peak = (weight * light * lengthKm) / (SQRT_TWO_PI * sigmaKm);
    const { xKm, yKm } = here;
    const [eastKm, northKm] = [xKm * cosPole + yKm * sinPole, yKm * cosPole - xKm * sinPole];
    addFootSpot(map, feet, eastKm, northKm, peak, sigmaKm);
  }
}

/** A point on the ground, km: x along the arcs, to the right of the pole, and y toward it. */
type Ground = { readonly xKm: number; readonly yKm: number };

const NOWHERE: Ground = { xKm: NaN, yKm: NaN };

/** From a Gaussian's peak and standard deviation to what lies under it. */
const SQRT_TWO_PI = 2.5066;

/** Standard deviation across an arc, km: its own thickness, and what it has moved since. */
function thicknessKm({
  moment,
  spanSeconds,
  sigmaKmMin = 0,
}: Parameters<typeof addCurtains>[0]): number {
  const liveliness = Math.min(1, 1.25 * Math.sqrt(moment.activity));
  const smearKm = 0.42 * foldKmPerSecond(moment) * spanSeconds;
  return Math.hypot(
    STILL_SIGMA_KM + (ACTIVE_SIGMA_KM - STILL_SIGMA_KM) * liveliness,
    smearKm,
    sigmaKmMin,
  );
}

/** Where waves and folds carry a point of an even arc. */
function folded(arc: Arc, moment: AuroraMoment, alongKm: number, evenKm: number): Ground {
  let [xKm, yKm] = [alongKm, evenKm];
  for (let wave = 0; wave < WAVES.length; wave += 1) {
    const { lengthKm, swingKm } = WAVES[wave]!;
    yKm += swingKm * sineOfTurn((alongKm - moment.foldKm) / lengthKm + arc.turns[wave]!);
  }
  for (let fold = 0; fold < FOLDS.length; fold += 1) {
    const { lengthKm, swingKm, speed } = FOLDS[fold]!;
    const place = (alongKm - speed * moment.foldKm) / (2.3 * lengthKm) + fold * 700;
    const local = Math.max(0, 1.9 * noiseAt(arc.strength, place) - 0.3);
    const swing = swingKm * Math.min(1, moment.activity ** 0.7) * local;
    const turn = (alongKm - speed * moment.foldKm) / lengthKm + arc.turns[2 + fold]!;
    yKm += swing * sineOfTurn(turn);
    xKm += 0.9 * swing * sineOfTurn(turn + 0.25);
  }
  return { xKm, yKm };
}

/** Brightness along the arcs, kR: the surge's where it has come, with a soft front. */
function levelKr(curtains: Curtains, moment: AuroraMoment, alongKm: number): number {
  const past = (moment.surgeKm - Math.abs(alongKm - curtains.surgeStartKm)) / 55;
  const surged = past > 6 ? 1 : past < -6 ? 0 : 1 / (1 + Math.exp(-past));
  return moment.quietKr + (moment.surgeKr - moment.quietKr) * surged;
}

/** Slow change of brightness along an arc, 0..1. */
function patchAt(arc: Arc, moment: AuroraMoment, alongKm: number): number {
  return noiseAt(arc.patches, (alongKm - moment.foldKm) / 160 + moment.atSeconds / 900);
}

/** The rays' share in the logarithm of the brightness, about 0. */
function raysAt(arc: Arc, moment: AuroraMoment, alongKm: number): number {
  let sum = 0;
  for (let octave = 0; octave < RAYS.length; octave += 1) {
    const { widthKm, contrast, ahead } = RAYS[octave]!;
    const goneKm = moment.foldKm + ahead * (moment.rayKm - moment.foldKm);
    const at = (alongKm - goneKm) / widthKm + octave * 1013;
    sum += contrast * (2 * noiseAt(arc.rays, at) - 1);
  }
  return sum;
}

/** Adds the even glow in which the arcs lie, kR. */
export function addDiffuse(options: {
  readonly curtains: Curtains;
  readonly moment: AuroraMoment;
  readonly map: FieldLineMap;
  readonly feet: Float32Array;
}): void {
  const { curtains, moment, map, feet } = options;
  const { sinPole, cosPole } = curtains;
  const sigma = 60;
  const stepKm = 55;
  for (let x = -1000; x <= 1000; x += stepKm) {
    const sag = (x * x * Math.tan(curtains.latitudeDeg * RAD_PER_DEG)) / (2 * EARTH_RADIUS_KM);
    const arc = curtains.arcs[0]!;
    const uneven = 0.4 + 1.2 * noiseAt(arc.patches, x / 260 + moment.atSeconds / 1400 + 2000);
    const y = moment.centreKm + 10 + sag;
    const peak = (moment.diffuseKr * uneven * stepKm) / (SQRT_TWO_PI * sigma);
    addFootSpot(map, feet, x * cosPole + y * sinPole, y * cosPole - x * sinPole, peak, sigma);
  }
}
