import { factorSymmetric, solveFactored } from "../photometry/solveSymmetric.ts";
import { cross, dot, unit, type Direction, type Rotation } from "../sky/direction.ts";
import { halfDiagonalPx, type LensModel, type RadialTerms } from "./lensModel.ts";

/** How a camera stands: from east, north and up to its own right, up and forward, row by row. */
export type Pose = { readonly rotation: Rotation; readonly lens: LensModel };

/** Which star lies where in the picture. */
export type StarPair = {
  readonly direction: Direction;
  readonly xPx: number;
  readonly yPx: number;
  /** Doubt of where the two should meet, pixels. */
  readonly sigmaPx: number;
};

/** What is known of the lens beforehand; standard deviations. */
export type LensPrior = {
  readonly lens: LensModel;
  /** Of the focal length, as a share of it. */
  readonly scaleSigma: number;
  readonly radialSigma: RadialTerms;
  readonly axisSigmaPx: number;
};

/** A pose that was fitted to stars. */
export type FittedPose = {
  readonly pose: Pose;
  /** Root mean square of the distances of the pairs that count, pixels. */
  readonly rmsPx: number;
  /** How far each pair lies off, pixels, in the order of the pairs. */
  readonly offPx: Float64Array;
  /**
   * Covariance of what was fitted (10 × 10, row by row): turn about the camera's right, up and forward
   * axes (radians), logarithm of the focal length, k₁ to k₄, the axis's x and y (pixels).
   */
  readonly covariance: Float64Array;
};

/** Turn about three axes, scale, four radial terms, two of the axis. */
export const FITTED_COUNT = 10;
/** The first of the axis's two places among what is fitted. */
export const AXIS_AT = 8;

const STEPS = 6;
/** Pairs farther off than this many deviations are left aside softly. Source: Beaton & Tukey 1974. */
const TUKEY = 5;

/**
 * Turns the camera and bends the lens until the stars lie where they were found: weighted least
 * squares that leave aside what lies far off, drawn toward what is known of the lens.
 *
 * The distances are taken in the picture that a perfect lens would have drawn.
 *
 * @param noisePx  What a pair may be off at most by noise, one deviation; sets what "far off" is.
 * Source: Gauss and Newton, iteratively reweighted; Tukey's biweight.
 */
export function fitPose(
  start: Pose,
  pairs: readonly StarPair[],
  prior: LensPrior,
  noisePx: number,
): FittedPose {
  const state = { rotation: start.rotation, values: valuesOf(start.lens) };
  const goal = valuesOf(prior.lens);
  const precision = precisionOf(prior);
  const offPx = new Float64Array(pairs.length);
  const normal = new Float64Array(FITTED_COUNT * FITTED_COUNT);
  const right = new Float64Array(FITTED_COUNT);
  let factor: Float64Array = new Float64Array(0);
  let [sum, weight] = [0, 0];
  for (let step = 0; step <= STEPS; step += 1) {
    ({ sum, weight } = gather({ pairs, state, lens: start.lens, noisePx, offPx, normal, right }));
    for (let at = 0; at < FITTED_COUNT - 3; at += 1) {
      normal[(3 + at) * FITTED_COUNT + 3 + at]! += precision[at]!;
      right[3 + at]! += precision[at]! * (goal[at]! - state.values[at]!);
    }
    for (let at = 0; at < 3; at += 1) normal[at * FITTED_COUNT + at]! += 1e-3;
    factor = factorSymmetric(normal, FITTED_COUNT);
    if (step === STEPS) break;
    const change = solveFactored(factor, FITTED_COUNT, right);
    state.rotation = turned(state.rotation, [change[0]!, change[1]!, change[2]!]);
    state.values = state.values.map((value, at) => value + change[3 + at]!);
    if (Math.hypot(change[0]!, change[1]!, change[2]!) < 1e-7 && Math.abs(change[3]!) < 1e-6) {
      // The last step only fills in the distances at the end.
      step = Math.max(step, STEPS - 1);
    }
  }
  const rmsPx = weight > 0 ? Math.sqrt(sum / weight) : Infinity;
  return {
    pose: { rotation: state.rotation, lens: lensOf(start.lens, state.values) },
    rmsPx,
    offPx,
    covariance: inverseOf(factor),
  };
}

/** Logarithm of the focal length, k₁ to k₄, axis x and y. */
type LensValues = number[];

function valuesOf(lens: LensModel): LensValues {
  return [Math.log(lens.pxPerRad), ...lens.radial, ...lens.axisPx];
}

function lensOf(lens: LensModel, [scale, k1, k2, k3, k4, x, y]: LensValues): LensModel {
  return { ...lens, pxPerRad: Math.exp(scale!), radial: [k1!, k2!, k3!, k4!], axisPx: [x!, y!] };
}

function precisionOf({ scaleSigma, radialSigma, axisSigmaPx }: LensPrior): number[] {
  const sigmas = [scaleSigma, ...radialSigma, axisSigmaPx, axisSigmaPx];
  return sigmas.map((sigma) => 1 / (sigma * sigma));
}

/** Sums the normal equations over the pairs. */
function gather(work: {
  readonly pairs: readonly StarPair[];
  readonly state: { readonly rotation: Rotation; readonly values: LensValues };
  readonly lens: LensModel;
  readonly noisePx: number;
  readonly offPx: Float64Array;
  readonly normal: Float64Array;
  readonly right: Float64Array;
}): { sum: number; weight: number } {
  const { pairs, state, lens, noisePx, offPx, normal, right } = work;
  const [scale, k1, k2, k3, k4, axisX, axisY] = state.values as [
    number,
    number,
    number,
    number,
    number,
    number,
    number,
  ];
  const focal = Math.exp(scale);
  const half = halfDiagonalPx(lens);
  normal.fill(0);
  right.fill(0);
  // Rows of one pair: how its distance across and down changes with what is fitted.
  const across = new Float64Array(FITTED_COUNT);
  const down = new Float64Array(FITTED_COUNT);
  let [sum, weight] = [0, 0];
  pairs.forEach(({ direction, xPx, yPx, sigmaPx }, pair) => {
    const forward = dot(state.rotation[2], direction);
    if (forward <= 0.05) {
      offPx[pair] = Infinity;
      return;
    }
    const x = dot(state.rotation[0], direction) / forward;
    const y = dot(state.rotation[1], direction) / forward;
    const qx = xPx - lens.widthPx / 2 - axisX;
    const qy = yPx - lens.heightPx / 2 - axisY;
    const square = (qx * qx + qy * qy) / (half * half);
    const straight = 1 + square * (k1 + square * (k2 + square * (k3 + square * k4)));
    const slope = k1 + square * (2 * k2 + square * (3 * k3 + 4 * square * k4));
    const ex = qx * straight - focal * x;
    const ey = qy * straight + focal * y;
    const off = Math.hypot(ex, ey);
    offPx[pair] = off;
    const sigma = Math.hypot(sigmaPx, noisePx);
    const far = off / (TUKEY * sigma);
    if (far >= 1) return;
    const w = (1 - far * far) ** 2 / (sigma * sigma);
    // Turn about right, up, forward: how the star's tangents move.
    across[0] = focal * x * y;
    down[0] = -focal * (1 + y * y);
    across[1] = -focal * (1 + x * x);
    down[1] = focal * x * y;
    across[2] = focal * y;
    down[2] = focal * x;
    across[3] = -focal * x;
    down[3] = focal * y;
    across[4] = qx * square;
    down[4] = qy * square;
    across[5] = qx * square * square;
    down[5] = qy * square * square;
    across[6] = qx * square * square * square;
    down[6] = qy * square * square * square;
    across[7] = across[6]! * square;
    down[7] = down[6]! * square;
    // How the straightened point moves with the axis: against it, and with the radial terms' slope.
    const bend = (2 * slope) / (half * half);
    across[8] = -(straight + bend * qx * qx);
    down[8] = -bend * qx * qy;
    across[9] = -bend * qx * qy;
    down[9] = -(straight + bend * qy * qy);
    for (let row = 0; row < FITTED_COUNT; row += 1) {
      right[row]! -= w * (across[row]! * ex + down[row]! * ey);
      for (let column = 0; column <= row; column += 1) {
        normal[row * FITTED_COUNT + column]! +=
          w * (across[row]! * across[column]! + down[row]! * down[column]!);
      }
    }
    const share = w * sigma * sigma;
    sum += share * off * off;
    weight += share;
  });
  return { sum, weight };
}

/** A rotation turned a little further about the camera's own axes. */
function turned([right, up, forward]: Rotation, by: Direction): Rotation {
  const angle = Math.hypot(...by);
  if (angle < 1e-15) return [right, up, forward];
  const axis: Direction = [by[0] / angle, by[1] / angle, by[2] / angle];
  const turn = (column: Direction): Direction => {
    const along = dot(axis, column) * (1 - Math.cos(angle));
    const side = cross(axis, column);
    return [0, 1, 2].map(
      (at) => column[at]! * Math.cos(angle) + side[at]! * Math.sin(angle) + axis[at]! * along,
    ) as unknown as Direction;
  };
  // Columns of the rotation are the camera's views of east, north and up.
  const [east, north, sky] = [0, 1, 2].map((at) =>
    turn([right[at]!, up[at]!, forward[at]!]),
  ) as unknown as Rotation;
  const ahead = unit([east[2], north[2], sky[2]]);
  // Right, up and forward make a left-handed set: right is forward × up.
  const beside = unit(cross(ahead, [east[1], north[1], sky[1]]));
  return [beside, cross(beside, ahead), ahead];
}

function inverseOf(factor: Float64Array): Float64Array {
  const inverse = new Float64Array(FITTED_COUNT * FITTED_COUNT);
  for (let column = 0; column < FITTED_COUNT; column += 1) {
    const one = new Float64Array(FITTED_COUNT);
    one[column] = 1;
    inverse.set(solveFactored(factor, FITTED_COUNT, one), column * FITTED_COUNT);
  }
  return inverse;
}
