/**
 * A smooth way through the exposures that a night was taken with: what a film should follow.
 *
 * The exposures jump (ladder steps, an aperture, the governor answering a surge); the film must
 * not. At every frame a line is fitted to the exposures around it, weighted by a Gaussian in time.
 * A steady trend, as of twilight, is followed as it is, however steep. A jump becomes a ramp with
 * the jump in its middle, of which half a minute takes 30 s / (σ √(2π)): 2 % at a σ of 600 s.
 * Never further than `awayStopsMax` from what was taken.
 *
 * @param stops  log2 of the exposure of each frame.
 * @param seconds  When each frame was taken, rising.
 * @returns One value a frame; equal exposures are returned exactly.
 * Source: local linear regression with a Gaussian kernel (Cleveland 1979; Fan 1992).
 */
export function smoothExposure(
  stops: readonly number[],
  seconds: readonly number[],
  options: { readonly sigmaSeconds: number; readonly awayStopsMax: number },
): readonly number[] {
  const reachSeconds = 3.5 * options.sigmaSeconds;
  let from = 0;
  let to = 0;
  return stops.map((here, i) => {
    while (seconds[from]! < seconds[i]! - reachSeconds) from += 1;
    while (to < seconds.length && seconds[to]! <= seconds[i]! + reachSeconds) to += 1;
    const away = lineAt(stops, seconds, { i, from, to, sigmaSeconds: options.sigmaSeconds });
    return here + Math.min(options.awayStopsMax, Math.max(-options.awayStopsMax, away));
  });
}

/** The fitted line at frame i, relative to that frame's own value. */
function lineAt(
  stops: readonly number[],
  seconds: readonly number[],
  { i, from, to, sigmaSeconds }: { i: number; from: number; to: number; sigmaSeconds: number },
): number {
  let [w, wt, wy, wtt, wty] = [0, 0, 0, 0, 0];
  for (let k = from; k < to; k += 1) {
    const t = (seconds[k]! - seconds[i]!) / sigmaSeconds;
    const y = stops[k]! - stops[i]!;
    const weight = Math.exp(-0.5 * t * t);
    w += weight;
    wt += weight * t;
    wy += weight * y;
    wtt += weight * t * t;
    wty += weight * t * y;
  }
  const determinant = w * wtt - wt * wt;
  // Frames of one moment have a mean and no line.
  return determinant <= 1e-12 * w * w ? wy / w : (wtt * wy - wt * wty) / determinant;
}
