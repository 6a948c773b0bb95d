import type { MotionMap } from "./motionMap.ts";
import { valueAtShareOfRising } from "../statistics.ts";

/**
 * Apparent speed of the curtains from the smear within the frames: an exposure of T seconds
 * multiplies the power spectrum of what moves at a speed v by sinc²(k v T), so that a longer and a
 * shorter exposure differ by a known shape, whatever the structure itself. Where the structure
 * stands in each frame does not matter, only how sharp it is: this works where successive frames
 * cannot be matched.
 *
 * Sources: blur identification from the power spectrum, Cannon 1976; averaged spectra, Welch 1967.
 * From memory, unconfirmed.
 */
export type SmearSpectrum = {
  /** Power at each wave number, across and up; null: too little sky for it. */
  readonly across: Float64Array | null;
  readonly up: Float64Array | null;
  readonly exposureSeconds: number;
  readonly midMs: number;
  readonly stepDeg: number;
};

/** Cells of one stretch of sky, and how far the next one lies. */
const STRETCH = 64;
const STRETCH_STEP = 24;
/** Smoothed rows repeat their neighbours. */
const LINE_STEP = 3;
const STRETCHES_MIN = 12;
/** Wave numbers, in periods a stretch: broader structure is shading, finer is noise. */
const K_MIN = 2;
const K_MAX = 24;

/** The power along the rows and along the columns of a map, by spatial frequency. */
export function smearSpectrumOf(map: MotionMap): SmearSpectrum {
  const { columns, rows } = map;
  return {
    across: spectrumAlong(map, { count: rows, length: columns, next: 1, line: columns }),
    up: spectrumAlong(map, { count: columns, length: rows, next: columns, line: 1 }),
    exposureSeconds: map.exposureSeconds,
    midMs: map.midMs,
    stepDeg: map.stepDeg,
  };
}

/** How lines of cells lie in the map. */
type Lines = {
  readonly count: number;
  readonly length: number;
  /** From a cell of a line to its next, and from a line to the next. */
  readonly next: number;
  readonly line: number;
};

const WAVES = wavesOf();

/** A raised cosine times each wave: two rows of `STRETCH` numbers a wave number. */
function wavesOf(): Float64Array {
  const waves = new Float64Array((K_MAX + 1) * 2 * STRETCH);
  for (let k = 0; k <= K_MAX; k += 1) {
    for (let cell = 0; cell < STRETCH; cell += 1) {
      const turn = (2 * Math.PI * (cell + 0.5)) / STRETCH;
      const window = 1 - Math.cos(turn);
      waves[2 * k * STRETCH + cell] = window * Math.cos(k * turn);
      waves[(2 * k + 1) * STRETCH + cell] = window * Math.sin(k * turn);
    }
  }
  return waves;
}

/** Mean power spectrum of the stretches of unbroken sky. */
function spectrumAlong(map: MotionMap, { count, length, next, line }: Lines): Float64Array | null {
  const power = new Float64Array(K_MAX + 1);
  const stretch = new Float64Array(STRETCH);
  let taken = 0;
  for (let index = 0; index < count; index += LINE_STEP) {
    for (let from = 0; from + STRETCH <= length; from += STRETCH_STEP) {
      const start = index * line + from * next;
      if (!fillStretch(map, start, next, stretch)) continue;
      taken += 1;
      addPower(power, stretch);
    }
  }
  if (taken < STRETCHES_MIN) return null;
  return power.map((sum) => sum / taken);
}

/** @returns False where the stretch leaves the sky. */
function fillStretch(map: MotionMap, start: number, next: number, stretch: Float64Array): boolean {
  for (let cell = 0, at = start; cell < STRETCH; cell += 1, at += next) {
    if (map.isSky[at] === 0) return false;
    stretch[cell] = map.values[at]!;
  }
  return true;
}

function addPower(power: Float64Array, stretch: Float64Array): void {
  for (let k = K_MIN; k <= K_MAX; k += 1) {
    const cosines = 2 * k * STRETCH;
    const sines = cosines + STRETCH;
    let [even, odd] = [0, 0];
    for (let cell = 0; cell < STRETCH; cell += 1) {
      even += stretch[cell]! * WAVES[cosines + cell]!;
      odd += stretch[cell]! * WAVES[sines + cell]!;
    }
    power[k]! += even * even + odd * odd;
  }
}

const SPEED_MIN = 0.01;
const SPEED_MAX = 1;
const SPEED_STEP = 1.04;

/** Exposures of less different lengths smear alike. */
const LENGTHS_MIN = 1.5;
/** Curtains change their speed: an older frame was smeared by another one. */
const SECONDS_MAX = 45;
/** Speeds found beside different frames deny each other when they differ by more than this. */
const AGREED = 1.4;

/**
 * Speed by which a frame is smeared, beside earlier frames of other exposure lengths, all of them
 * taken to have moved alike.
 *
 * @returns Degrees a second, the median over the earlier frames that can tell; null: not known.
 */
export function smearSpeedOf(
  spectrum: SmearSpectrum,
  earlier: readonly SmearSpectrum[],
): number | null {
  const speeds = earlier
    .filter((other) => {
      const ratio = Math.log(spectrum.exposureSeconds / other.exposureSeconds);
      const seconds = (spectrum.midMs - other.midMs) / 1000;
      const isAlike = other.stepDeg === spectrum.stepDeg && seconds > 0 && seconds <= SECONDS_MAX;
      return isAlike && Math.abs(ratio) >= Math.log(LENGTHS_MIN);
    })
    .map((other) => speedBeside(spectrum, other))
    .filter((speed) => speed !== null)
    .toSorted((a, b) => a - b);
  const [slowest, fastest] = [speeds[0], speeds.at(-1)];
  if (slowest === undefined || fastest === undefined || fastest > AGREED * slowest) return null;
  return valueAtShareOfRising(speeds, 0.5)!;
}

function speedBeside(spectrum: SmearSpectrum, other: SmearSpectrum): number | null {
  const across = speedAlong("across", spectrum, other);
  const up = speedAlong("up", spectrum, other);
  if (across === null || up === null) return across ?? up;
  return Math.hypot(across, up);
}

function speedAlong(
  axis: "across" | "up",
  spectrum: SmearSpectrum,
  other: SmearSpectrum,
): number | null {
  const bins = clearBins(spectrum[axis], other[axis]);
  if (bins.length < BINS_MIN) return null;
  const cells = spectrum.exposureSeconds / spectrum.stepDeg;
  const otherCells = other.exposureSeconds / other.stepDeg;
  return clearMinimum((speed) => missOf(bins, speed * cells, speed * otherCells));
}

/** One wave number at which both spectra stand clear of their noise. */
type Bin = { readonly periodsPerCell: number; readonly ratio: number };

const BINS_MIN = 5;
/** Power over that of the noise. */
const CLEAR = 8;

function clearBins(one: Float64Array | null, other: Float64Array | null): Bin[] {
  if (one === null || other === null) return [];
  const [noiseOne, noiseOther] = [noiseOf(one), noiseOf(other)];
  const bins: Bin[] = [];
  for (let k = K_MIN; k <= K_MAX; k += 1) {
    const shape = smoothing(k);
    const a = one[k]! - noiseOne * shape;
    const b = other[k]! - noiseOther * shape;
    if (a < CLEAR * noiseOne * shape || b < CLEAR * noiseOther * shape) break;
    bins.push({ periodsPerCell: k / STRETCH, ratio: Math.log(a / b) });
  }
  return bins;
}

/** What the map's 1-2-1 smoothing leaves of white noise's power. */
function smoothing(k: number): number {
  return Math.cos((Math.PI * k) / STRETCH) ** 4;
}

/** Level of the white noise, by the finest wave numbers. */
function noiseOf(power: Float64Array): number {
  let least = Infinity;
  for (let k = K_MAX - 4; k <= K_MAX; k += 1) least = Math.min(least, power[k]! / smoothing(k));
  return least;
}

/** The smear's sinc² never falls below this: leakage and uneven speeds fill its zeros. */
const SINC_FLOOR = 0.03;

function logSinc2(periods: number): number {
  const turn = Math.PI * periods;
  const sinc = turn < 1e-6 ? 1 : Math.sin(turn) / turn;
  return Math.log(Math.max(SINC_FLOOR, sinc * sinc));
}

/** Variance of the log ratios that the smear of so many cells does not explain; contrast is free. */
function missOf(bins: readonly Bin[], cells: number, otherCells: number): number {
  let [sum, squares] = [0, 0];
  for (const { periodsPerCell, ratio } of bins) {
    const left = ratio - logSinc2(periodsPerCell * cells) + logSinc2(periodsPerCell * otherCells);
    sum += left;
    squares += left * left;
  }
  const mean = sum / bins.length;
  return squares / bins.length - mean * mean;
}

/** Smear must explain all but this share of the difference between the spectra. */
const UNEXPLAINED_MAX = 0.2;
/** Difference between the spectra, standard deviation of the logarithm, that is worth explaining. */
const DIFFERENCE_MIN = 0.25;
/** Speeds that explain as much are within this of the best, or it is not known. */
const WIDTH_MAX = 1.22;

/** The speed of least miss, if it stands clear. */
function clearMinimum(missAt: (speed: number) => number): number | null {
  const unsmeared = missAt(0);
  let best = { speed: 0, miss: Infinity };
  const misses: { speed: number; miss: number }[] = [];
  for (let speed = SPEED_MIN; speed < SPEED_MAX; speed *= SPEED_STEP) {
    const here = { speed, miss: missAt(speed) };
    misses.push(here);
    if (here.miss < best.miss) best = here;
  }
  // Put this way round, spectra of an even sky, whose ratio is no number, are left unknown as well.
  const isWorthExplaining = unsmeared >= DIFFERENCE_MIN ** 2;
  const isExplained = best.miss <= UNEXPLAINED_MAX * unsmeared;
  if (!isWorthExplaining || !isExplained) return null;
  const enough = Math.max(2 * best.miss, 0.1 * unsmeared);
  const near = misses.filter(({ miss }) => miss <= enough);
  const isClear =
    near.at(-1)!.speed <= WIDTH_MAX * best.speed && near[0]!.speed >= best.speed / WIDTH_MAX;
  return isClear && best.speed > SPEED_MIN && best.speed * SPEED_STEP < SPEED_MAX
    ? best.speed
    : null;
}
