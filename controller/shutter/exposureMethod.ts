/** How one exposure is made, with the length that the camera will really be asked for. */
export type ExposureMethod =
  | { readonly kind: "bulb"; readonly exposureSeconds: number }
  | { readonly kind: "timed"; readonly exposureSeconds: number };

/**
 * Half a third-stop step, and a little for ladders that hold rounded names ("1.3" for 1.26 s):
 * a camera with a third-stop ladder always has a value this near.
 */
const NEAR_STOPS = 1 / 6 + 0.05;

/**
 * Chooses between the camera's own timer and bulb.
 *
 * Below about two seconds the jitter of a host-timed bulb would show (20 ms in 2 s is 1 %), so the
 * nearest value of the camera's ladder is taken if it is near enough; everything else is bulb, in
 * which the length is continuous. A camera without bulb gets the nearest value there is.
 *
 * @returns null when the camera has neither bulb nor a ladder.
 */
export function chooseExposureMethod(options: {
  readonly exposureSeconds: number;
  /** Timed exposures that can be set, seconds, in any order. */
  readonly ladderSeconds: readonly number[];
  readonly hasBulb: boolean;
  readonly timedBelowSeconds: number;
}): ExposureMethod | null {
  const { exposureSeconds, ladderSeconds, hasBulb, timedBelowSeconds } = options;
  const nearest = nearestSeconds(exposureSeconds, ladderSeconds);
  const bulb: ExposureMethod = { kind: "bulb", exposureSeconds };
  if (nearest === null) return hasBulb ? bulb : null;
  const timed: ExposureMethod = { kind: "timed", exposureSeconds: nearest };
  if (!hasBulb) return timed;
  const isNear = Math.abs(Math.log2(nearest / exposureSeconds)) <= NEAR_STOPS;
  return exposureSeconds < timedBelowSeconds && isNear ? timed : bulb;
}

function nearestSeconds(wanted: number, ladder: readonly number[]): number | null {
  let nearest: number | null = null;
  for (const value of ladder) {
    const isNearer =
      nearest === null ||
      Math.abs(Math.log2(value / wanted)) < Math.abs(Math.log2(nearest / wanted));
    if (value > 0 && isNearer) nearest = value;
  }
  return nearest;
}
