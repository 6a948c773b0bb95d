import { exposureTime } from "../../core/ptp/properties.ts";

/** Denominators of the speeds below 0.3 s, then the longer ones, in the usual third stops. */
const SPEEDS = [
  3200, 2500, 2000, 1600, 1250, 1000, 800, 640, 500, 400, 320, 250, 200, 160, 125, 100, 80, 60, 50,
  40, 30, 25, 20, 15, 13, 10, 8, 6, 5, 4,
];
const LONG_SECONDS = [
  0.3, 0.4, 0.5, 0.6, 0.8, 1, 1.3, 1.6, 2, 2.5, 3.2, 4, 5, 6, 8, 10, 13, 15, 20, 25, 30,
];
/**
 * Raw exposure times, units of 0.1 ms. 1/4000 s is 2.5 of them; rounded up it would be 1/3200 s
 * once more, so this camera says 2.
 */
export const EXPOSURE_TIMES: readonly number[] = [
  2,
  ...SPEEDS.map((speed) => exposureTime.encode(1 / speed)),
  ...LONG_SECONDS.map((seconds) => exposureTime.encode(seconds)),
];

/** ISO in third stops. */
export const EXPOSURE_INDICES: readonly number[] = [
  100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000,
  6400, 8000, 10000, 12800,
];

/** f-numbers × 100 in third stops, as an f/1.8 lens has them. */
export const F_NUMBERS: readonly number[] = [
  180, 200, 220, 250, 280, 320, 350, 400, 450, 500, 560, 630, 710, 800, 900, 1000, 1100, 1300, 1400,
  1600, 1800, 2000, 2200,
];
