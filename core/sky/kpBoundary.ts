import { cosDeg } from "./angles.ts";

/**
 * Equatorward boundary of the aurora near midnight for Kp 0..9, degrees of corrected geomagnetic
 * latitude. Source: NOAA Space Weather Prediction Center, "Tips on viewing the aurora".
 */
const KP_BOUNDARY_DEG: readonly number[] = [
  66.5, 64.5, 62.4, 60.4, 58.3, 56.3, 54.2, 52.2, 50.1, 48.1,
];

/**
 * The same for a Kp in thirds (as 4.33), linear between the table's rows.
 *
 * @param kp  0..9; a value outside counts as the nearer end.
 */
export function kpBoundaryDeg(kp: number): number {
  const within = Math.min(9, Math.max(0, kp));
  const low = Math.min(8, Math.floor(within));
  const share = within - low;
  return KP_BOUNDARY_DEG[low]! * (1 - share) + KP_BOUNDARY_DEG[low + 1]! * share;
}

/**
 * Intercept and slope of the diffuse aurora's equatorward boundary by hour of magnetic local time.
 * Source: Gussenhoven, Hardy and Heinemann 1983, J. Geophys. Res. 88:5692. Hours without a row in
 * the paper's night side are taken linearly between their neighbours.
 */
const DIFFUSE_BOUNDARY: readonly (readonly [
  mltHours: number,
  interceptDeg: number,
  slope: number,
])[] = [
  [18, 71.2, -1.74],
  [20, 69.4, -1.89],
  [21, 68.6, -1.86],
  [22, 67.9, -1.78],
  [23, 67.8, -2.07],
  [24, 66.1, -1.99],
  [25, 65.1, -1.55],
  [28, 67.7, -1.48],
];

/**
 * Equatorward boundary of the diffuse aurora at an hour of magnetic local time, degrees of
 * corrected geomagnetic latitude; `null` outside 18 to 4 h, where no row is at hand.
 */
export function diffuseBoundaryDeg(kp: number, mltHours: number): number | null {
  const hours = mltHours < 12 ? mltHours + 24 : mltHours;
  const next = DIFFUSE_BOUNDARY.findIndex(([row]) => row >= hours);
  if (next < 0 || hours < 18) return null;
  const [afterHours, afterDeg, afterSlope] = DIFFUSE_BOUNDARY[next]!;
  const [beforeHours, beforeDeg, beforeSlope] = DIFFUSE_BOUNDARY[Math.max(0, next - 1)]!;
  const share = afterHours === beforeHours ? 1 : (hours - beforeHours) / (afterHours - beforeHours);
  const at = (intercept: number, slope: number): number => intercept + slope * kp;
  return at(beforeDeg, beforeSlope) * (1 - share) + at(afterDeg, afterSlope) * share;
}

/** Edges of the oval of discrete aurora, degrees of corrected geomagnetic latitude. */
type OvalEdges = { readonly equatorwardDeg: number; readonly polewardDeg: number };

/**
 * Both edges of the oval of discrete aurora at an hour of magnetic local time.
 *
 * @param kp  0..7; outside, the nearer end: the fit was made on that range.
 * Source: Starkov 1994, Geomagn. Aeron. 34:331, from the index AL, with AL from Kp by the same
 * author; coefficients as open implementations of the paper print them. Two transcriptions of
 * the equatorward edge's first number exist, 1.16 and 1.61 (0.45° apart); 1.16 is used.
 */
export function ovalEdges(kp: number, mltHours: number): OvalEdges {
  const within = Math.min(7, Math.max(0, kp));
  const electrojetNt = 18 - 12.3 * within + 27.2 * within ** 2 - 2 * within ** 3;
  const activity = Math.log10(electrojetNt);
  const edge = (series: EdgeSeries): number => 90 - colatitudeDeg(series, activity, mltHours);
  const equatorwardDeg = edge(EQUATORWARD_EDGE);
  return { equatorwardDeg, polewardDeg: Math.max(equatorwardDeg, edge(POLEWARD_EDGE)) };
}

type Cubic = readonly [number, number, number, number];

/** Mean colatitude, and amplitude and phase (hours) of the first three harmonics. */
type EdgeSeries = {
  readonly mean: Cubic;
  readonly amplitudes: readonly [Cubic, Cubic, Cubic];
  readonly phases: readonly [Cubic, Cubic, Cubic];
};

const EQUATORWARD_EDGE: EdgeSeries = {
  mean: [1.16, 23.21, -10.97, 2.03],
  amplitudes: [
    [-9.59, 17.78, -7.2, 0.96],
    [-12.07, 17.49, -7.96, 1.15],
    [-6.56, 11.44, -6.73, 1.31],
  ],
  phases: [
    [-2.22, 1.5, -0.58, 0.08],
    [-23.98, 42.79, -26.96, 5.56],
    [-20.07, 36.67, -24.2, 5.11],
  ],
};

const POLEWARD_EDGE: EdgeSeries = {
  mean: [-0.07, 24.54, -12.53, 2.15],
  amplitudes: [
    [-10.06, 19.83, -9.33, 1.24],
    [-4.44, 7.47, -3.01, 0.25],
    [-3.77, 7.9, -4.73, 0.91],
  ],
  phases: [
    [-6.61, 10.17, -5.8, 1.19],
    [6.37, -1.1, 0.34, -0.38],
    [-4.48, 10.16, -5.87, 0.98],
  ],
};

function colatitudeDeg(series: EdgeSeries, activity: number, mltHours: number): number {
  const cubic = ([b0, b1, b2, b3]: Cubic): number =>
    b0 + activity * (b1 + activity * (b2 + activity * b3));
  let sum = cubic(series.mean);
  for (let index = 0; index < 3; index += 1) {
    const harmonic = index + 1;
    const phaseHours = cubic(series.phases[index]!);
    sum += cubic(series.amplitudes[index]!) * cosDeg(15 * (harmonic * mltHours + phaseHours));
  }
  return sum;
}
