import { medianOf } from "../statistics.ts";
import type { Detection } from "./detection.ts";
import { fitPose, type FittedPose, type LensPrior, type Pose } from "./fitPose.ts";
import { guessPoses, type GuessEffort, type PoseGuess } from "./guessPose.ts";
import { halfDiagonalPx, plainLens, type LensModel } from "./lensModel.ts";
import {
  detectionGrid,
  matchStars,
  pairsOf,
  starsInFrame,
  type DetectionGrid,
  type StarMatch,
} from "./matchStars.ts";
import { chanceLog10 } from "./chance.ts";
import { pointingOf, type Pointing } from "./pointing.ts";
import { starsAbove, type SkyMoment, type StarsAbove, type StarTable } from "./starsAbove.ts";

/** What a frame's stars say of where it points. */
type PointingVerdict =
  | { readonly kind: "solved"; readonly pointing: Pointing }
  | { readonly kind: "unsolved"; readonly why: "tooFewStars" | "noMatch" };

/** The sky over a place at a moment, and the catalogue. */
export type NightSky = SkyMoment & { readonly table: StarTable };

/** What is known of the picture before its stars are asked. */
type PictureHint = {
  readonly widthPx: number;
  readonly heightPx: number;
  /** Focal length as written on the lens, pixels of this picture per radian; `null`: not known. */
  readonly pxPerRad: number | null;
};

/** Fewer stars than this prove nothing. */
const STARS_MIN = 8;

/**
 * A match that chance alone would give more often than this, as a power of ten, is none: a search
 * lays a million guesses on a frame, and of a million frames none may be wrong.
 */
const CHANCE_LOG10_MAX = -12;

/** A lens may differ from its name by so much, one deviation. Common practice, no source. */
const SCALE_SIGMA = 0.04;

/** Distortion of wide lenses in the corner, one deviation of each term. Common practice, no source. */
const RADIAL_SIGMA = [0.06, 0.05, 0.05, 0.05] as const;

/** How far a lens's axis misses the picture's middle, share of the width, one deviation. */
const AXIS_SHARE = 0.003;

/** First a quick search among the brightest, then patient ones, then lenses that are not what they say. */
const EFFORTS = [
  { detectionsMax: 14, scale: 1 },
  { detectionsMax: 22, scale: 1 },
  { detectionsMax: 32, scale: 1 },
  { detectionsMax: 22, scale: 0.94 },
  { detectionsMax: 22, scale: 1.06 },
] as const;

/** Focal lengths over the width that are tried where none is known: a step of 6 % between them. */
const UNKNOWN_SCALE_MIN = 0.25;
const UNKNOWN_SCALE_MAX = 2.2;
const UNKNOWN_SCALE_STEP = 1.06;

/** Doubt of an angle between two stars in a guess. */
const ANGLE_SHARE = 0.035;

/**
 * Finds from a cold start where a frame points.
 *
 * @param detections  In any order; half of them and more may be no stars.
 * @returns The solution with its uncertainty, or why there is none; never a guess.
 * Accuracy: with 20 stars and more, 0.02° for the centre's direction, 0.1 % of the scale.
 */
export function solvePointing(
  detections: readonly Detection[],
  sky: NightSky,
  hint: PictureHint,
): PointingVerdict {
  if (detections.length < STARS_MIN) return { kind: "unsolved", why: "tooFewStars" };
  const ordered = detections.toSorted((a, b) => b.light - a.light);
  const grid = detectionGrid(ordered, hint);
  const stars = starsAbove(sky.table, sky, starsNeeded(detections.length, hint));
  for (const { lens, prior, effort } of searches(hint)) {
    const refine = (guess: PoseGuess): Pointing | null =>
      refineGuess(guess, { grid, stars, prior });
    let found: Pointing | null = null;
    const guesses = guessPoses({
      detections: ordered,
      stars,
      lens,
      effort,
      enough: (guess) => {
        found = refine(guess);
        return found !== null;
      },
    });
    if (found !== null) return { kind: "solved", pointing: found };
    for (const guess of guesses) {
      const pointing = refine(guess);
      if (pointing !== null) return { kind: "solved", pointing };
    }
  }
  return { kind: "unsolved", why: "noMatch" };
}

type Search = { readonly lens: LensModel; readonly prior: LensPrior; readonly effort: GuessEffort };

/** The searches that are tried in turn. */
function* searches({ widthPx, heightPx, pxPerRad }: PictureHint): Generator<Search> {
  const searchOf = (scale: number, detectionsMax: number, scaleSigma: number): Search => {
    const lens = plainLens({ widthPx, heightPx, pxPerRad: scale });
    return {
      lens,
      prior: priorOf(lens, scaleSigma),
      effort: {
        detectionsMax,
        starsMax: starsMaxFor(lens, detectionsMax),
        angleShare: ANGLE_SHARE,
      },
    };
  };
  if (pxPerRad !== null) {
    for (const { detectionsMax, scale } of EFFORTS) {
      yield searchOf(scale * pxPerRad, detectionsMax, SCALE_SIGMA);
    }
    return;
  }
  const scales: number[] = [];
  for (let at = UNKNOWN_SCALE_MIN; at < UNKNOWN_SCALE_MAX; at *= UNKNOWN_SCALE_STEP) {
    scales.push(at * widthPx);
  }
  for (const detectionsMax of [12, 20]) {
    for (const scale of scales) yield searchOf(scale, detectionsMax, 2 * SCALE_SIGMA);
  }
}

function priorOf(lens: LensModel, scaleSigma: number): LensPrior {
  return {
    lens,
    scaleSigma,
    radialSigma: RADIAL_SIGMA,
    axisSigmaPx: AXIS_SHARE * lens.widthPx,
  };
}

/** More stars per area of sky than detections: many of these are no stars, some stars are hidden. */
function starsMaxFor(lens: LensModel, detectionsMax: number): number {
  return Math.round(Math.min(1500, Math.max(40, 1.6 * detectionsMax * framesToSky(lens))));
}

/** Stars of the whole sky that cover what a frame may show: half of them are below the horizon. */
function starsNeeded(
  detectionCount: number,
  hint: { readonly widthPx: number; readonly heightPx: number; readonly pxPerRad: number | null },
): number {
  const { widthPx, pxPerRad } = hint;
  const lens = plainLens({ ...hint, pxPerRad: pxPerRad ?? UNKNOWN_SCALE_MAX * widthPx });
  return Math.round(2.4 * (STARS_PER_DETECTION * detectionCount + STARS_MORE) * framesToSky(lens));
}

/** How many frames cover half of the sky. */
function framesToSky({ widthPx, heightPx, pxPerRad }: LensModel): number {
  const [x, y] = [widthPx / 2 / pxPerRad, heightPx / 2 / pxPerRad];
  // Solid angle of a rectangle seen from the centre of projection.
  return (2 * Math.PI) / (4 * Math.atan((x * y) / Math.sqrt(1 + x * x + y * y)));
}

/** Stars of a frame that are looked for: some hide behind cloud and land. */
const STARS_PER_DETECTION = 2.5;
const STARS_MORE = 20;

/** Reach of a match from guess to solution, share of the width; fewer and brighter stars at first. */
const NARROWING = [
  { share: 0.02, stars: 1.5, detections: 40 },
  { share: 0.012, stars: 1.5, detections: 60 },
  { share: 0.006, stars: 1.5, detections: 120 },
  { share: 0.003, stars: 2, detections: 1000 },
] as const;

/** Noise of a star's place, share of the width: a tenth of a pixel of 1536. */
const NOISE_SHARE = 6e-5;

type Refinement = {
  readonly grid: DetectionGrid;
  readonly stars: StarsAbove;
  readonly prior: LensPrior;
};

/** Follows a guess until it is a solution, or proves none. */
function refineGuess(guess: PoseGuess, work: Refinement): Pointing | null {
  const { grid, stars, prior } = work;
  const { widthPx } = prior.lens;
  let pose: Pose = guess;
  for (const { share, stars: more, detections } of NARROWING) {
    const bright = detections >= grid.detections.length ? grid : brightest(grid, detections, pose);
    const inFrame = starsInFrame(pose, stars, Math.round(more * bright.detections.length) + 10);
    const matches = matchStars(inFrame, bright, share * widthPx);
    if (matches.length < 5) return null;
    const pairs = pairsOf(matches, stars, bright.detections, pose.lens.pxPerRad);
    pose = fitPose(pose, pairs, prior, (share * widthPx) / 3).pose;
    if (isAbsurd(pose, prior)) return null;
  }
  return settlePose(pose, work);
}

/** Rounds of matching and fitting once stars and detections lie close together. */
const SETTLING_ROUNDS = 4;

/**
 * Matches and fits until nothing changes, and judges the outcome.
 *
 * @returns `null` when chance could have done as well.
 */
function settlePose(start: Pose, { grid, stars, prior }: Refinement): Pointing | null {
  const { widthPx, heightPx } = start.lens;
  const least = NOISE_SHARE * widthPx;
  let pose = start;
  let reachPx = 0.0025 * widthPx;
  let fitted: FittedPose | null = null;
  let matches: readonly StarMatch[] = [];
  let shownCount = 0;
  for (let round = 0; round < SETTLING_ROUNDS; round += 1) {
    const inFrame = starsInFrame(
      pose,
      stars,
      Math.round(STARS_PER_DETECTION * grid.detections.length) + STARS_MORE,
    );
    shownCount = inFrame.star.length;
    matches = matchStars(inFrame, grid, reachPx);
    if (matches.length < STARS_MIN) return null;
    const pairs = pairsOf(matches, stars, grid.detections, pose.lens.pxPerRad);
    const noisePx = Math.max(least, reachPx / 4);
    fitted = fitPose(pose, pairs, prior, noisePx);
    pose = fitted.pose;
    if (isAbsurd(pose, prior)) return null;
    // Median distance of a two-dimensional Gaussian: 1.18 deviations.
    const deviation = Math.max(least, medianOf([...fitted.offPx]) / 1.18);
    reachPx = Math.min(reachPx, Math.max(5 * deviation, 5 * least));
  }
  if (fitted === null) return null;
  const kept = matches.filter((_, at) => fitted.offPx[at]! <= reachPx);
  const chance = chanceLog10({
    trials: grid.detections.length,
    hits: kept.length - 3,
    // Stars stand only in the part of the picture that shows sky, half of it at worst.
    probability: 1 - Math.exp((-shownCount * Math.PI * reachPx ** 2) / (0.5 * widthPx * heightPx)),
  });
  if (kept.length < STARS_MIN || chance > CHANCE_LOG10_MAX) return null;
  return pointingOf({ fitted, matches: kept, chanceLog10: chance, shownCount });
}

/** The brightest detections alone. */
function brightest(grid: DetectionGrid, count: number, { lens }: Pose): DetectionGrid {
  return detectionGrid(grid.detections.slice(0, count), lens);
}

/** A known camera may have been moved by so much, share of the width, and is still followed. */
const FOLLOW_SHARE = 0.012;

/**
 * Where a frame points whose camera stands nearly as it stood: for every frame after the first.
 *
 * The lens is held nearly as it was found, so that eight stars are enough for the three turns.
 *
 * @param before  An earlier solution of the same camera, lens and picture size.
 * @returns `null` when the camera was moved by more than about 1° of a wide lens's frame, or too few
 *   stars show: then a cold start is due.
 */
export function followPointing(
  detections: readonly Detection[],
  sky: NightSky,
  before: Pointing,
): Pointing | null {
  const { lens } = before.pose;
  const prior: LensPrior = {
    lens,
    scaleSigma: FOLLOWED_SIGMA,
    radialSigma: [FOLLOWED_SIGMA, FOLLOWED_SIGMA, FOLLOWED_SIGMA, FOLLOWED_SIGMA],
    axisSigmaPx: FOLLOWED_SIGMA * lens.widthPx,
  };
  const ordered = detections.toSorted((a, b) => b.light - a.light);
  const grid = detectionGrid(ordered, lens);
  const count = starsNeeded(Math.min(ordered.length, FOLLOWED_MAX), lens);
  const stars = starsAbove(sky.table, sky, count);
  const work = { grid, stars, prior };
  const settled = settlePose(before.pose, work);
  if (settled !== null) return settled;
  const bright = brightest(grid, FOLLOWED_MAX, before.pose);
  const inFrame = starsInFrame(before.pose, stars, FOLLOWED_MAX);
  const matches = matchStars(inFrame, bright, FOLLOW_SHARE * lens.widthPx);
  if (matches.length < STARS_MIN) return null;
  const pairs = pairsOf(matches, stars, bright.detections, lens.pxPerRad);
  return settlePose(fitPose(before.pose, pairs, prior, 0.002 * lens.widthPx).pose, work);
}

/** A lens does not change between frames but for its focus and the cold, as a share. */
const FOLLOWED_SIGMA = 1e-4;
/** So many stars say where a camera points as well as all of them. */
const FOLLOWED_MAX = 60;

/** A lens that no lens is: a fit to chance drifts there. */
function isAbsurd({ lens }: Pose, prior: LensPrior): boolean {
  const scale = Math.abs(Math.log(lens.pxPerRad / prior.lens.pxPerRad));
  return (
    scale > 4 * prior.scaleSigma ||
    Math.abs(lens.radial[0]) > 0.3 ||
    Math.hypot(...lens.axisPx) > 0.05 * halfDiagonalPx(lens)
  );
}
