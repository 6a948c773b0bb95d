import {
  RESPONSE_KNOTS,
  splinePosition,
  splineSlopes,
  splineWeights,
  startToneResponse,
  type ToneResponse,
} from "./response.ts";
import { factorSymmetric, solveFactored } from "./solveSymmetric.ts";
import { linearOfCode, MID_GREY_CODE } from "./srgb.ts";
import { middleOf, valueAtShareOfRising } from "../statistics.ts";

/**
 * Learns a camera's tone curve from the night's own frames.
 *
 * Two frames of one sky at different exposures show the same light at different codes. With g the
 * log2 light of a code, d the exposures' difference in stops and s what the sky itself changed by,
 * g(z₂) − g(z₁) = d + s for matched quantiles z₁, z₂ of the two frames (quantiles, since the sky
 * moves). All kept pairs are solved together for g and every s by reweighted least squares:
 * g as a smooth deviation from sRGB, s small and steady from pair to pair, so that exposures that
 * go up and down again (bracketing) cancel a sky that brightens; quantiles that do not fit (a curtain
 * that grew, a lamp) lose their weight (Huber).
 * Exposures that follow the sky teach nothing and are passed over: there d = −s, the codes stay the
 * same, and the curve would bend a little further with every frame (identification in a closed
 * loop, Gustavsson, Ljung & Söderström 1977, from memory).
 * Sources: Debevec & Malik 1997 (log form, hat weight, smoothness), Mitsunaga & Nayar 1999 (ratios
 * found along with the curve), Grossberg & Nayar 2003 (curves as deviations in a small basis;
 * quantiles of histograms instead of pixels; the exponent that unknown ratios leave open).
 */
export type ResponseLearner = {
  readonly prior: ToneResponse;
  readonly last: FrameCodes | null;
  /** Oldest first. */
  readonly pairs: readonly CodePair[];
  readonly pairsSinceSolve: number;
  readonly isSure: boolean;
  /** Pairs taken in, also those that have been dropped since. */
  readonly pairCount: number;
};

/** What the learner needs of one frame. */
export type FrameCodes = {
  /** log2(t · S / N²) of the frame's exposure. */
  readonly exposureStops: number;
  /** Middle of the exposure. */
  readonly seconds: number;
  /** Cells that were taken; a pair whose skies differ in size is not matched. */
  readonly cellCount: number;
  /** The exposure was chosen to follow the sky. */
  readonly followsTheSky?: boolean;
  /** Codes at the quantiles, red then green then blue. */
  readonly codes: readonly number[];
};

type CodePair = {
  readonly exposureChange: number;
  readonly index: number;
  readonly codes1: readonly number[];
  readonly codes2: readonly number[];
};

/** Shares of the sky below each quantile. */
export const QUANTILES = [0.05, 0.2, 0.4, 0.6, 0.8, 0.95] as const;

/** Pairs kept; the oldest goes first. */
const PAIRS_MAX = 48;
/** New pairs until the curve is solved again, which takes a millisecond; a settled one waits until all are new. */
const PAIRS_PER_SOLVE = 4;
const PAIRS_PER_SOLVE_SETTLED = PAIRS_MAX;
/** A pair says something of the curve from this change of exposure on, stops. */
const CHANGE_STOPS_MIN = 0.1;
/** Frames further apart show another sky. */
const SECONDS_MAX = 90;
/** Codes beyond these are too near to black or to the ceiling. */
const CODE_MIN = 3;
const CODE_MAX = 249;

/** A learner that has seen no frames; `prior` is the tone curve it starts from. */
export function startResponseLearner(prior: ToneResponse = startToneResponse()): ResponseLearner {
  const { isSure } = prior;
  return { prior, last: null, pairs: [], pairsSinceSolve: 0, isSure, pairCount: 0 };
}

/**
 * Takes in one frame.
 *
 * @returns The learner, and the curve when it was solved again, else null.
 */
export function learnFrame(
  learner: ResponseLearner,
  frame: FrameCodes,
): { learner: ResponseLearner; response: ToneResponse | null } {
  const { last } = learner;
  const next = { ...learner, last: frame };
  if (last === null || !isMatch(last, frame)) return { learner: next, response: null };
  const exposureChange = frame.exposureStops - last.exposureStops;
  const index = learner.pairCount;
  const pair = { exposureChange, index, codes1: last.codes, codes2: frame.codes };
  const bothFollow = last.followsTheSky === true && frame.followsTheSky === true;
  if (bothFollow || Math.abs(exposureChange) < CHANGE_STOPS_MIN) {
    return { learner: next, response: null };
  }
  const grown: ResponseLearner = {
    ...next,
    pairs: [...learner.pairs.slice(-(PAIRS_MAX - 1)), pair],
    pairsSinceSolve: learner.pairsSinceSolve + 1,
    pairCount: learner.pairCount + 1,
  };
  const isSettled = learner.isSure && learner.pairCount >= PAIRS_MAX;
  const perSolve = isSettled ? PAIRS_PER_SOLVE_SETTLED : PAIRS_PER_SOLVE;
  if (grown.pairsSinceSolve < perSolve) return { learner: grown, response: null };
  const response = solveResponse(grown);
  return { learner: { ...grown, pairsSinceSolve: 0, isSure: response.isSure }, response };
}

function isMatch(last: FrameCodes, frame: FrameCodes): boolean {
  const sizeChange = Math.abs(frame.cellCount - last.cellCount) / Math.max(1, last.cellCount);
  return frame.seconds - last.seconds <= SECONDS_MAX && sizeChange < 0.03;
}

/** Doubt of a single matched quantile at best, stops: quantisation, mask, sampling. */
const ROW_STOPS_MIN = 0.01;
/** Neighbouring quantiles and channels err together: so many rows count as one. */
const ROWS_PER_FACT = 3;
/** The sky's own change between frames, stops: at most loosely bound. */
const SKY_CHANGE_STOPS = 0.5;
/** Least change of that change, from pair to pair. */
const SKY_JERK_STOPS_MIN = 0.015;
/** Second difference of the deviation over knots, stops: real tone curves are smooth. */
const BEND_STOPS = 0.1;
const ITERATIONS = 5;
/** The curve is sure when its doubt over the codes seen is this small, stops RMS. */
const SURE_STOPS = 0.03;
const SURE_PAIRS_MIN = 12;

type Row = {
  /** Index of the pair. */
  readonly pair: number;
  /** Change of exposure less the change in sRGB's log light: what deviation and sky must explain. */
  readonly right: number;
  readonly first1: number;
  readonly weights1: readonly number[];
  readonly first2: number;
  readonly weights2: readonly number[];
  /** Slopes of the four weights, and of sRGB's log light, at the second code, per knot. */
  readonly slopes2: readonly number[];
  readonly sRgbSlope2: number;
  readonly hat: number;
};

function solveResponse(learner: ResponseLearner): ToneResponse {
  const { pairs, prior } = learner;
  const rows = pairs.flatMap(rowsOf);
  const size = RESPONSE_KNOTS + pairs.length;
  let rowStops = 0.1;
  let jerkStops = 0.1;
  let rowTrust = new Float64Array(rows.length).fill(1);
  let jerkTrust = new Float64Array(pairs.length).fill(1);
  let solution: Float64Array = new Float64Array(size);
  let factor: Float64Array = new Float64Array(0);
  for (let iteration = 0; iteration < ITERATIONS; iteration += 1) {
    const normal = new Float64Array(size * size);
    const right = new Float64Array(size);
    addPrior(normal, right, size, prior);
    addRows(normal, right, size, rows, rowTrust, rowStops);
    addSky(normal, size, pairs, jerkTrust, jerkStops);
    addSlopes(normal, right, size, rows, pairs, solution);
    factor = factorSymmetric(normal, size);
    solution = solveFactored(factor, size, right);
    const errors = rows.map((row) => residualOf(row, solution));
    rowStops = Math.max(ROW_STOPS_MIN, robustDeviation(errors));
    rowTrust = Float64Array.from(errors, (error) => huberWeight(error, rowStops));
    const jerks = jerksOf(pairs, solution);
    jerkStops = Math.max(
      SKY_JERK_STOPS_MIN,
      robustDeviation(jerks.filter((jerk) => jerk !== null)),
    );
    jerkTrust = Float64Array.from(jerks, (jerk) => cauchyWeight(jerk ?? 0, jerkStops));
  }
  return describe(learner, solution, factor, size);
}

function rowsOf(pair: CodePair, pairIndex: number): Row[] {
  const rows: Row[] = [];
  for (let index = 0; index < pair.codes1.length; index += 1) {
    const code1 = pair.codes1[index]!;
    const code2 = pair.codes2[index]!;
    if (Math.min(code1, code2) < CODE_MIN || Math.max(code1, code2) > CODE_MAX) continue;
    const at1 = splineWeights(splinePosition(code1));
    const at2 = splineWeights(splinePosition(code2));
    rows.push({
      pair: pairIndex,
      right: pair.exposureChange - Math.log2(linearOfCode(code2) / linearOfCode(code1)),
      first1: at1.first,
      weights1: at1.weights,
      first2: at2.first,
      weights2: at2.weights,
      slopes2: splineSlopes(splinePosition(code2)),
      sRgbSlope2: sRgbSlope(code2),
      hat: Math.min(hatWeight(code1), hatWeight(code2)),
    });
  }
  return rows;
}

/** Slope of sRGB's log2 light at a code, stops a knot. */
function sRgbSlope(code: number): number {
  const rise = Math.log2(linearOfCode(code + 0.5) / linearOfCode(code - 0.5));
  return rise / (splinePosition(code + 0.5) - splinePosition(code - 0.5));
}

/** Debevec and Malik's hat, flat over the middle: quantisation rules below, the shoulder above. */
function hatWeight(code: number): number {
  return Math.min(1, (code - CODE_MIN + 1) / 24, (CODE_MAX - code + 1) / 16);
}

function addRows(
  normal: Float64Array,
  right: Float64Array,
  size: number,
  rows: readonly Row[],
  trust: Float64Array,
  rowStops: number,
): void {
  const columns = new Int32Array(9);
  const values = new Float64Array(9);
  for (let index = 0; index < rows.length; index += 1) {
    const row = rows[index]!;
    for (let k = 0; k < 4; k += 1) {
      columns[k] = row.first2 + k;
      values[k] = row.weights2[k]!;
      columns[4 + k] = row.first1 + k;
      values[4 + k] = -row.weights1[k]!;
    }
    columns[8] = RESPONSE_KNOTS + row.pair;
    values[8] = -1;
    const weight = (row.hat * trust[index]!) / (ROWS_PER_FACT * rowStops * rowStops);
    for (let i = 0; i < 9; i += 1) {
      const scaled = weight * values[i]!;
      right[columns[i]!]! += scaled * row.right;
      for (let j = 0; j < 9; j += 1)
        normal[columns[i]! * size + columns[j]!]! += scaled * values[j]!;
    }
  }
}

/** The curve stays near the one known before, smooth, and through code 118. */
function addPrior(
  normal: Float64Array,
  right: Float64Array,
  size: number,
  prior: ToneResponse,
): void {
  const add = (
    knots: readonly number[],
    values: readonly number[],
    target: number,
    stops: number,
  ) => {
    const weight = 1 / (stops * stops);
    for (let i = 0; i < knots.length; i += 1) {
      right[knots[i]!]! += weight * values[i]! * target;
      for (let j = 0; j < knots.length; j += 1) {
        normal[knots[i]! * size + knots[j]!]! += weight * values[i]! * values[j]!;
      }
    }
  };
  const known = prior.deviationStops;
  for (let knot = 0; knot < RESPONSE_KNOTS; knot += 1) {
    add([knot], [1], known[knot]!, prior.isSure ? prior.uncertaintyStops[knot]! + 0.02 : 1);
    if (knot === 0 || knot === RESPONSE_KNOTS - 1) continue;
    const bend = known[knot - 1]! - 2 * known[knot]! + known[knot + 1]!;
    add([knot - 1, knot, knot + 1], [1, -2, 1], bend, BEND_STOPS);
  }
  const { first, weights } = splineWeights(splinePosition(MID_GREY_CODE));
  add([first, first + 1, first + 2, first + 3], weights, 0, 0.001);
}

/** The sky's changes are small, and steady from one pair to the next. */
function addSky(
  normal: Float64Array,
  size: number,
  pairs: readonly CodePair[],
  trust: Float64Array,
  jerkStops: number,
): void {
  for (let pair = 0; pair < pairs.length; pair += 1) {
    const here = RESPONSE_KNOTS + pair;
    normal[here * size + here]! += 1 / SKY_CHANGE_STOPS ** 2;
    if (!isFollowing(pairs, pair)) continue;
    const weight = trust[pair]! / (jerkStops * jerkStops);
    const before = here - 1;
    normal[here * size + here]! += weight;
    normal[before * size + before]! += weight;
    normal[here * size + before]! -= weight;
    normal[before * size + here]! -= weight;
  }
}

/**
 * Codes are what is measured, the sky's change is what errs. A plain fit of light against codes takes
 * it the other way round and flattens the curve (errors in variables); the likelihood of the codes
 * has each slope g′ as a factor more. Its logarithm is added here, linearised about the last
 * solution, once a pair.
 */
function addSlopes(
  normal: Float64Array,
  right: Float64Array,
  size: number,
  rows: readonly Row[],
  pairs: readonly CodePair[],
  solution: Float64Array,
): void {
  const counts = new Float64Array(pairs.length);
  for (const row of rows) counts[row.pair]! += 1;
  for (const row of rows) {
    if (!isFollowing(pairs, row.pair)) continue;
    let deviationSlope = 0;
    for (let k = 0; k < 4; k += 1) deviationSlope += row.slopes2[k]! * solution[row.first2 + k]!;
    const slope = Math.max(0.2 * row.sRgbSlope2, row.sRgbSlope2 + deviationSlope);
    const share = 1 / counts[row.pair]!;
    for (let i = 0; i < 4; i += 1) {
      const relative = row.slopes2[i]! / slope;
      right[row.first2 + i]! += share * relative * (1 + deviationSlope / slope);
      for (let j = 0; j < 4; j += 1) {
        normal[(row.first2 + i) * size + row.first2 + j]! +=
          (share * relative * row.slopes2[j]!) / slope;
      }
    }
  }
}

function isFollowing(pairs: readonly CodePair[], pair: number): boolean {
  return pair > 0 && pairs[pair]!.index === pairs[pair - 1]!.index + 1;
}

function jerksOf(pairs: readonly CodePair[], solution: Float64Array): (number | null)[] {
  return pairs.map((_, pair) => {
    const here = RESPONSE_KNOTS + pair;
    return isFollowing(pairs, pair) ? solution[here]! - solution[here - 1]! : null;
  });
}

function residualOf(row: Row, solution: Float64Array): number {
  let value = -solution[RESPONSE_KNOTS + row.pair]! - row.right;
  for (let k = 0; k < 4; k += 1) {
    value += row.weights2[k]! * solution[row.first2 + k]!;
    value -= row.weights1[k]! * solution[row.first1 + k]!;
  }
  return value;
}

/** Huber's weight with the usual tuning constant 1.345. Source: Huber 1964. */
function huberWeight(error: number, deviation: number): number {
  const size = Math.abs(error) / deviation;
  return size <= 1.345 ? 1 : 1.345 / size;
}

/** Cauchy's weight: a sky that jumps (a cloud's edge, a surge) must not bend the curve. */
function cauchyWeight(error: number, deviation: number): number {
  return 1 / (1 + (error / (2.385 * deviation)) ** 2);
}

/** 1.4826 times the median absolute value: the standard deviation of the well-behaved part. */
function robustDeviation(errors: readonly number[]): number {
  if (errors.length === 0) return 0;
  return 1.4826 * middleOf(Float64Array.from(errors, Math.abs))!;
}

function describe(
  learner: ResponseLearner,
  solution: Float64Array,
  factor: Float64Array,
  size: number,
): ToneResponse {
  const { prior, pairs, pairCount } = learner;
  const covariance = knotCovariance(factor, size);
  const deviationStops = Array.from(solution.subarray(0, RESPONSE_KNOTS));
  const uncertaintyStops = deviationStops.map((_, knot) =>
    Math.sqrt(covariance[knot * RESPONSE_KNOTS + knot]!),
  );
  const doubt = shapeDoubt(covariance, pairs);
  return {
    deviationStops,
    uncertaintyStops,
    pairCount: prior.pairCount + pairCount,
    isSure: prior.isSure || (pairCount >= SURE_PAIRS_MIN && doubt <= SURE_STOPS),
  };
}

/** The upper left part of the inverse of the normal matrix. */
function knotCovariance(factor: Float64Array, size: number): Float64Array {
  const covariance = new Float64Array(RESPONSE_KNOTS ** 2);
  for (let knot = 0; knot < RESPONSE_KNOTS; knot += 1) {
    const unit = new Float64Array(size);
    unit[knot] = 1;
    const column = solveFactored(factor, size, unit);
    for (let other = 0; other < RESPONSE_KNOTS; other += 1) {
      covariance[other * RESPONSE_KNOTS + knot] = column[other]!;
    }
  }
  return covariance;
}

/** RMS doubt over the codes that the pairs covered, with their common offset taken out. */
function shapeDoubt(covariance: Float64Array, pairs: readonly CodePair[]): number {
  const codes = pairs.flatMap((pair) => [...pair.codes1, ...pair.codes2]).sort((a, b) => a - b);
  const low = valueAtShareOfRising(codes, 0.05) ?? 0;
  const high = valueAtShareOfRising(codes, 0.95) ?? 255;
  const places = Array.from({ length: 9 }, (_, step) => {
    return splineWeights(splinePosition(low + ((high - low) * step) / 8));
  });
  const mean = new Float64Array(RESPONSE_KNOTS);
  for (const { first, weights } of places) {
    weights.forEach((weight, k) => (mean[first + k]! += weight / places.length));
  }
  let sum = 0;
  for (const { first, weights } of places) {
    const vector = mean.map((value) => -value);
    weights.forEach((weight, k) => (vector[first + k]! += weight));
    sum += quadratic(covariance, vector);
  }
  return Math.sqrt(sum / places.length);
}

function quadratic(covariance: Float64Array, vector: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < vector.length; i += 1) {
    for (let j = 0; j < vector.length; j += 1) {
      sum += vector[i]! * covariance[i * vector.length + j]! * vector[j]!;
    }
  }
  return sum;
}
