import { factorSymmetric, solveFactored } from "../photometry/solveSymmetric.ts";
import { medianOf } from "../statistics.ts";

/** A change of exposure by this many stops is a step; smaller ones drown in the sky's own changes. */
const STEP_STOPS_MIN = 0.08;

/** A larger one is an answer to the sky, not a rung. */
const STEP_STOPS_MAX = 1.1;

/** Frames without a step that a step needs on either side to be distinguished from the sky. */
const CALM_FRAMES = 2;

/** What is believed before a step has been seen: one standard deviation, stops and stops a stop. */
const PRIOR_GAIN_STOPS = 0.1;
const PRIOR_SLOPE = 0.2;

/** A slope smaller than this many of its standard deviations may as well be none. */
const SLOPE_DOUBTS = 3;
const NO_SLOPE = 1e-3;

/** No camera is further off at one step (common practice, no source): more is the sky's doing. */
const GAIN_STOPS_MAX = 0.15;
const SLOPE_MAX = 0.3;

/** Doubt of one step even in a quiet sky, stops. */
const STEP_NOISE_STOPS = 0.01;

/** Residuals beyond this count less and less (Huber 1964), stops. */
const HUBER_STOPS = 0.05;

/**
 * What each frame's brightness owes to the camera not following its own numbers.
 *
 * Two things stay the same all night and show at every step of the exposure: a gain for each ISO
 * value (an amplifier's steps are not exactly their nominal thirds) and a slope of the tone (a
 * rendering with more contrast than was assumed answers one stop with more than one). Both are
 * found by least squares over all steps, each compared with what the sky did around it and
 * weighted by how quiet that was; a few steps move them little.
 *
 * @param cells  Per cell: brightness less exposure of each frame, stops; NaN: not usable.
 * @param exposureStops  log2 exposure of each frame.
 * @returns Stops to take off each frame; all 0 where there is no step.
 */
export function fitStepResponse(
  cells: readonly Float64Array[],
  exposureStops: readonly number[],
  iso: readonly number[],
): readonly number[] {
  const gains = [...new Set(iso)].sort((a, b) => a - b);
  const steps = findSteps(cells, exposureStops, iso);
  if (steps.length === 0) return exposureStops.map(() => 0);
  const parameters = solve(steps, gains);
  const slope = parameters[0]!;
  const reference = medianOf(exposureStops);
  return exposureStops.map(
    (stops, i) => slope * (stops - reference) + parameters[1 + gains.indexOf(iso[i]!)]!,
  );
}

type Step = {
  readonly exposureChange: number;
  readonly isoBefore: number;
  readonly isoAfter: number;
  /** Change that exposure and sky do not explain, stops. */
  readonly unexplained: number;
  readonly sigma: number;
};

function findSteps(
  cells: readonly Float64Array[],
  exposureStops: readonly number[],
  iso: readonly number[],
): Step[] {
  const count = exposureStops.length;
  const changes = Array.from({ length: count }, (_, i) =>
    i === 0 ? NaN : medianOf(cells.map((cell) => cell[i]! - cell[i - 1]!)),
  );
  const isStep = changes.map(
    (_, i) =>
      i > 0 &&
      (iso[i] !== iso[i - 1] ||
        Math.abs(exposureStops[i]! - exposureStops[i - 1]!) >= STEP_STOPS_MIN),
  );
  const steps: Step[] = [];
  for (let i = 1; i < count; i += 1) {
    if (!isStep[i] || !Number.isFinite(changes[i])) continue;
    const calm = (from: number, to: number): number[] =>
      changes.slice(Math.max(1, from), to + 1).filter((_, k) => !isStep[Math.max(1, from) + k]);
    const [before, after] = [calm(i - 4, i - 1), calm(i + 1, i + 4)];
    // A governor that steps again and again is chasing the sky: its steps show the sky's.
    const isAlone = ![-2, -1, 1, 2].some((k) => isStep[i + k] === true);
    if (!isAlone || before.length < CALM_FRAMES || after.length < CALM_FRAMES) continue;
    const exposureChange = exposureStops[i]! - exposureStops[i - 1]!;
    if (Math.abs(exposureChange) > STEP_STOPS_MAX) continue;
    const around = [...before, ...after];
    const trend = medianOf(around);
    const spread = 1.4826 * medianOf(around.map((one) => Math.abs(one - trend)));
    // A sky that goes on otherwise after the step may have turned at any moment around it.
    const turn = Math.abs(medianOf(after) - medianOf(before));
    const unexplained = changes[i]! - trend;
    if (Math.abs(unexplained) > GAIN_STOPS_MAX + SLOPE_MAX * Math.abs(exposureChange)) continue;
    steps.push({
      exposureChange,
      isoBefore: iso[i - 1]!,
      isoAfter: iso[i]!,
      unexplained,
      sigma: Math.hypot(STEP_NOISE_STOPS, spread, turn),
    });
  }
  return steps;
}

/**
 * Slope first, then a gain for each ISO. A slope that the steps cannot tell from none is none:
 * over a surge of several stops, each hundredth of it would be taken for the camera's doing.
 */
function solve(steps: readonly Step[], gains: readonly number[]): Float64Array {
  const free = regress(steps, gains, PRIOR_SLOPE);
  if (Math.abs(free.parameters[0]!) > SLOPE_DOUBTS * free.slopeDoubt) return free.parameters;
  return regress(steps, gains, NO_SLOPE).parameters;
}

/** Ridge regression, reweighted three times. */
function regress(
  steps: readonly Step[],
  gains: readonly number[],
  priorSlope: number,
): { readonly parameters: Float64Array; readonly slopeDoubt: number } {
  const n = 1 + gains.length;
  let parameters = new Float64Array(n);
  let slopeDoubt = priorSlope;
  for (let round = 0; round < 3; round += 1) {
    const matrix = new Float64Array(n * n);
    const right = new Float64Array(n);
    matrix[0] = priorSlope ** -2;
    for (let k = 1; k < n; k += 1) matrix[k * n + k] = PRIOR_GAIN_STOPS ** -2;
    for (const step of steps) {
      const row = new Float64Array(n);
      row[0] = step.exposureChange;
      row[1 + gains.indexOf(step.isoAfter)]! += 1;
      row[1 + gains.indexOf(step.isoBefore)]! -= 1;
      const predicted = row.reduce((sum, value, k) => sum + value * parameters[k]!, 0);
      const rest = Math.abs(step.unexplained - predicted);
      const weight = Math.min(1, HUBER_STOPS / Math.max(rest, 1e-9)) / step.sigma ** 2;
      for (let a = 0; a < n; a += 1) {
        right[a]! += weight * row[a]! * step.unexplained;
        for (let b = 0; b < n; b += 1) matrix[a * n + b]! += weight * row[a]! * row[b]!;
      }
    }
    const factor = factorSymmetric(matrix, n);
    parameters = solveFactored(factor, n, right) as typeof parameters;
    const slopeAlone = Float64Array.from({ length: n }, (_, k) => (k === 0 ? 1 : 0));
    slopeDoubt = Math.sqrt(solveFactored(factor, n, slopeAlone)[0]!);
  }
  return { parameters, slopeDoubt };
}
