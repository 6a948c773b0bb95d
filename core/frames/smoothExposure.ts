/** Beyond this many σ a Gaussian weighs next to nothing. */
const REACH_SIGMA = 4;

/** No stretch of time is left without a point for longer than this many σ. */
const STEP_SIGMA = 1 / 16;

/** The trend at an end of a set is what goes on for this many σ, or all of a shorter set. */
const TREND_SIGMA = 2;

/**
 * A smooth way through the exposures that a night was taken with: what a film should follow.
 *
 * The exposures jump (ladder steps, an aperture, the governor answering a surge); the film must
 * not. At every frame a line is fitted to the exposures around it, weighted by a Gaussian in time.
 * A steady trend, as of twilight, is followed as it is, however steep. A jump becomes a ramp with
 * the jump in its middle, of which half a minute takes 30 s / (σ √(2π)): 1 % at a σ of 1200 s.
 *
 * In a pause the exposures go over into one another, and before the first and after the last frame
 * they go on with the trend there: so a jump beside a pause, near an end or in a short set is spread
 * no less than one in a long night's middle.
 *
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
  const { sigmaSeconds, awayStopsMax } = options;
  const points = pointsOf(stops, seconds, sigmaSeconds);
  const reachSeconds = REACH_SIGMA * sigmaSeconds;
  let from = 0;
  return stops.map((here, i) => {
    const atSeconds = seconds[i]!;
    while (points[from]!.seconds < atSeconds - reachSeconds) from += 1;
    const away = lineAt(points, { here, atSeconds, from, sigmaSeconds });
    return here + Math.min(awayStopsMax, Math.max(-awayStopsMax, away));
  });
}

type Point = {
  readonly seconds: number;
  readonly stops: number;
  /** The time that it stands for, s. */
  readonly weight: number;
};

/** The frames' exposures, and what stands for them in pauses and beyond the ends. */
function pointsOf(
  stops: readonly number[],
  seconds: readonly number[],
  sigmaSeconds: number,
): readonly Point[] {
  const stepSeconds = STEP_SIGMA * sigmaSeconds;
  const beyond = Math.ceil(REACH_SIGMA / STEP_SIGMA) * stepSeconds;
  const knots = seconds.map((at, i) => ({ seconds: at, stops: stops[i]! }));
  const [first, last] = [knots[0], knots.at(-1)];
  if (first === undefined || last === undefined) return [];
  const trendSeconds = Math.min(TREND_SIGMA * sigmaSeconds, last.seconds - first.seconds);
  const begin = trendOf(knots, first.seconds, first.seconds + trendSeconds);
  const end = trendOf(knots, last.seconds - trendSeconds, last.seconds);
  const before = { seconds: first.seconds - beyond, stops: first.stops - begin * beyond };
  const after = { seconds: last.seconds + beyond, stops: last.stops + end * beyond };
  const all = withoutPauses([before, ...knots, after], stepSeconds);
  return all.map((point, i) => {
    const [earlier, later] = [all[i - 1] ?? point, all[i + 1] ?? point];
    // Frames of one moment stand for a little time each, so that they have a mean.
    return { ...point, weight: Math.max(1e-6, (later.seconds - earlier.seconds) / 2) };
  });
}

type Knot = Pick<Point, "seconds" | "stops">;

/** The knots with points on the straight line between any two that are further apart than a step. */
function withoutPauses(knots: readonly Knot[], stepSeconds: number): readonly Knot[] {
  return knots.flatMap((knot, i) => {
    const before = knots[i - 1];
    if (before === undefined) return [knot];
    const count = Math.ceil((knot.seconds - before.seconds) / stepSeconds);
    const between = Array.from({ length: Math.max(0, count - 1) }, (_, k) => {
      const share = (k + 1) / count;
      return {
        seconds: before.seconds + share * (knot.seconds - before.seconds),
        stops: before.stops + share * (knot.stops - before.stops),
      };
    });
    return [...between, knot];
  });
}

/**
 * The trend between two times, stops a second: the smaller of the slopes of its two halves, and none
 * when they disagree. A jump is in one half only, so it is no trend.
 * Source: the "minmod" of two slopes, as in slope limiters (Roe 1986).
 */
function trendOf(knots: readonly Knot[], fromSeconds: number, toSeconds: number): number {
  const middle = (fromSeconds + toSeconds) / 2;
  const inside = knots.filter(({ seconds }) => seconds >= fromSeconds && seconds <= toSeconds);
  const early = slopeOf(inside.filter(({ seconds }) => seconds <= middle));
  const late = slopeOf(inside.filter(({ seconds }) => seconds >= middle));
  if (early * late <= 0) return 0;
  return Math.abs(early) < Math.abs(late) ? early : late;
}

/** Of the line of least squares, stops a second; 0 for fewer than two moments. */
function slopeOf(knots: readonly Knot[]): number {
  const mean = (values: readonly number[]): number =>
    values.reduce((sum, value) => sum + value, 0) / values.length;
  const [meanSeconds, meanStops] = [
    mean(knots.map(({ seconds }) => seconds)),
    mean(knots.map(({ stops }) => stops)),
  ];
  let [tt, ty] = [0, 0];
  for (const { seconds, stops } of knots) {
    tt += (seconds - meanSeconds) ** 2;
    ty += (seconds - meanSeconds) * (stops - meanStops);
  }
  return tt > 0 ? ty / tt : 0;
}

/** The line fitted around a frame, where the frame is, relative to the frame's own value. */
function lineAt(
  points: readonly Point[],
  around: {
    readonly here: number;
    readonly atSeconds: number;
    readonly from: number;
    readonly sigmaSeconds: number;
  },
): number {
  const { here, atSeconds, from, sigmaSeconds } = around;
  let [w, wt, wy, wtt, wty] = [0, 0, 0, 0, 0];
  for (let k = from; k < points.length; k += 1) {
    const point = points[k]!;
    const t = (point.seconds - atSeconds) / sigmaSeconds;
    if (t > REACH_SIGMA) break;
    const y = point.stops - here;
    const weight = point.weight * Math.exp(-0.5 * t * t);
    w += weight;
    wt += weight * t;
    wy += weight * y;
    wtt += weight * t * t;
    wty += weight * t * y;
  }
  return (wtt * wy - wt * wty) / (w * wtt - wt * wt);
}
