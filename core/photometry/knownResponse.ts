import type { TonePoint } from "../profiles/cameraControls.ts";
import {
  RESPONSE_KNOTS,
  splinePosition,
  splineWeights,
  startToneResponse,
  type ToneResponse,
} from "./response.ts";
import { factorSymmetric, solveFactored } from "./solveSymmetric.ts";
import { linearOfCode } from "./srgb.ts";

/** A known curve is as good as one that a night has taught: the learner calls itself sure at 0.03. */
const KNOWN_STOPS = 0.02;
/** How closely the spline follows the points, and how little it bends where there are none, stops. */
const POINT_STOPS = 0.005;
const BEND_STOPS = 1;
/** Codes outside these are darkness and full: their light is anybody's guess. */
const CODE_MIN = 0.5;
const CODE_MAX = 254.5;

/**
 * A tone curve that is known from points, to begin a night with: sure, so that nothing is probed,
 * and still corrected by what the night's frames show.
 *
 * @param points  Rising; only their shape counts, since code 118 is mid-grey by convention.
 */
export function knownResponse(points: readonly TonePoint[]): ToneResponse {
  const size = RESPONSE_KNOTS + 1;
  const normal = new Float64Array(size * size);
  const right = new Float64Array(size);
  // The last unknown is the one light that the points count from.
  const add = (terms: readonly (readonly [number, number])[], target: number, stops: number) => {
    const weight = 1 / (stops * stops);
    for (const [row, value] of terms) {
      right[row]! += weight * value * target;
      for (const [column, other] of terms) normal[row * size + column]! += weight * value * other;
    }
  };
  for (const { lightStops, code } of points) {
    if (code < CODE_MIN || code > CODE_MAX) continue;
    const { first, weights } = splineWeights(splinePosition(code));
    const terms = weights.map((weight, k): [number, number] => [first + k, weight]);
    add([...terms, [RESPONSE_KNOTS, 1]], lightStops - Math.log2(linearOfCode(code)), POINT_STOPS);
  }
  for (let knot = 1; knot < RESPONSE_KNOTS - 1; knot += 1) {
    const bend: [number, number][] = [
      [knot - 1, 1],
      [knot, -2],
      [knot + 1, 1],
    ];
    add(bend, 0, BEND_STOPS);
  }
  // A common offset of all coefficients says the same as the unit: it is held at nothing.
  for (let knot = 0; knot < RESPONSE_KNOTS; knot += 1) add([[knot, 1]], 0, 100 * BEND_STOPS);
  const solution = solveFactored(factorSymmetric(normal, size), size, right);
  return {
    ...startToneResponse(),
    deviationStops: Array.from(solution.subarray(0, RESPONSE_KNOTS)),
    uncertaintyStops: new Array<number>(RESPONSE_KNOTS).fill(KNOWN_STOPS),
    isSure: true,
  };
}
