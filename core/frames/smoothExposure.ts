/**
 * A smooth way through the exposures that a night was taken with: what a film should follow.
 *
 * The exposures jump (ladder steps, an aperture, the governor answering a surge); the film must
 * not. The way changes by at most `stopsPerMinuteMax`: of the steepest descent that stays above the
 * exposures and the steepest ascent that stays below them, the mean (so a jump becomes a ramp with
 * the jump in its middle), rounded off over a few frames. A slow trend, as of twilight, is followed
 * as it is. Never further than `awayStopsMax` from what was taken.
 *
 * @param stops  log2 of the exposure of each frame.
 * @param seconds  When each frame was taken, rising.
 * @returns One value a frame.
 * Source: the largest and smallest functions of bounded slope around given values (McShane 1934).
 */
export function smoothExposure(
  stops: readonly number[],
  seconds: readonly number[],
  options: { readonly stopsPerMinuteMax: number; readonly awayStopsMax: number },
): readonly number[] {
  const above = boundedSlope(stops, seconds, options.stopsPerMinuteMax / 60, Math.max, -1);
  const below = boundedSlope(stops, seconds, options.stopsPerMinuteMax / 60, Math.min, 1);
  const within = stops.map((value, i) => {
    const middle = (above[i]! + below[i]!) / 2;
    return Math.min(value + options.awayStopsMax, Math.max(value - options.awayStopsMax, middle));
  });
  return roundOff(within);
}

/** The tightest bound of the given slope: from each neighbour on, and back. */
function boundedSlope(
  values: readonly number[],
  seconds: readonly number[],
  stopsPerSecond: number,
  choose: (a: number, b: number) => number,
  sign: 1 | -1,
): number[] {
  const bound = [...values];
  for (let i = 1; i < bound.length; i += 1) {
    const change = sign * stopsPerSecond * (seconds[i]! - seconds[i - 1]!);
    bound[i] = choose(bound[i]!, bound[i - 1]! + change);
  }
  for (let i = bound.length - 2; i >= 0; i -= 1) {
    const change = sign * stopsPerSecond * (seconds[i + 1]! - seconds[i]!);
    bound[i] = choose(bound[i]!, bound[i + 1]! + change);
  }
  return bound;
}

/** Corners of a ramp seen at 24 frames a second: rounded over about a third of a second. */
const ROUND_SIGMA_FRAMES = 3;

/** Gaussian mean; at the ends it reaches as far as there are frames on both sides. */
function roundOff(values: readonly number[]): number[] {
  return values.map((_, i) => {
    const reach = Math.min(3 * ROUND_SIGMA_FRAMES, i, values.length - 1 - i);
    let sum = 0;
    let weights = 0;
    for (let k = -reach; k <= reach; k += 1) {
      const weight = Math.exp(-0.5 * (k / ROUND_SIGMA_FRAMES) ** 2);
      sum += weight * values[i + k]!;
      weights += weight;
    }
    return sum / weights;
  });
}
