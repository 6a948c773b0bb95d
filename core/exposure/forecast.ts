import { SKY_MODELS, type SkyModel, type SkyMood } from "./skyModels.ts";

/**
 * What a bank of sky models has learned from the readings so far; plain data.
 *
 * Each model is a Kalman filter over (level, slope, flutter); `cells` holds its mean (3) and the
 * upper triangle of its covariance (6), one model after the other.
 */
export type Forecast = {
  /** Middle of the newest reading's exposure, seconds; null: nothing seen yet. */
  readonly atSeconds: number | null;
  readonly cells: readonly number[];
  /** Logarithms of the models' weights; their exponentials add up to 1. */
  readonly logWeights: readonly number[];
  /** What a steady sky had been when the newest reading surprised it; null: it did not. */
  readonly surprised: {
    /** When and where the steady sky was seen last. */
    readonly atSeconds: number;
    readonly level: number;
    /** Change that the surprising reading showed, stops, and when. */
    readonly changeStops: number;
    readonly changedSeconds: number;
  } | null;
};

/** What the sky will be. */
export type Outlook = {
  /** Expected log2 of the luminance in cd/m². */
  readonly level: number;
  /** One standard deviation, stops. */
  readonly spread: number;
};

/** How the bank weighs its models. */
type BankTuning = {
  readonly models: readonly SkyModel[];
  /** Share of a model's record that is kept from reading to reading. */
  readonly memory: number;
  /** Share that is dealt out again by the priors at each reading. */
  readonly share: number;
  /** Degrees of freedom of the error's distribution: small forgives outliers. */
  readonly freedom: number;
  /** A model that was off by more than this many of its own standard deviations starts over. */
  readonly surprise: number;
};

const BANK: BankTuning = {
  models: SKY_MODELS,
  memory: 0.985,
  share: 0.005,
  freedom: 8,
  surprise: 4,
};

const CELLS = 9;
/** A level of which nothing is known: this many stops². */
const UNKNOWN = 400;

export function startForecast(bank: BankTuning = BANK): Forecast {
  const total = bank.models.reduce((sum, { prior }) => sum + prior, 0);
  return {
    atSeconds: null,
    cells: bank.models.flatMap((model) => freshCells(model)),
    logWeights: bank.models.map(({ prior }) => Math.log(prior / total)),
    surprised: null,
  };
}

function freshCells(model: SkyModel): number[] {
  return [0, 0, 0, UNKNOWN, 0, 0, secondVariance(model), 0, model.flutter * model.flutter];
}

/** Variance of the second state: the slope, or the swing's other half. */
function secondVariance({ slope, flutter, periodSeconds }: SkyModel): number {
  return periodSeconds > 0 ? flutter * flutter : slope * slope;
}

/**
 * Writes the state `seconds` later of the model whose cells begin at `at` into `ahead`. Handed in
 * one by one: this runs for every model at every look ahead, and objects would cost a third more.
 */
function predict(
  model: SkyModel,
  cells: readonly number[],
  at: number,
  ahead: number[],
  seconds: number,
): void {
  const h = Math.max(0, seconds);
  if (model.periodSeconds > 0) predictSwing(model, cells, at, ahead, h);
  else predictTrend(model, cells, at, ahead, h);
}

/** A damped swing: the fluctuation and its other half turn into one another. Exact. */
function predictSwing(
  model: SkyModel,
  cells: readonly number[],
  at: number,
  ahead: number[],
  h: number,
): void {
  const f = Math.exp(-h / model.flutterSeconds);
  const turn = (2 * Math.PI * h) / model.periodSeconds;
  const c = f * Math.cos(turn);
  const s = f * Math.sin(turn);
  const p01 = cells[at + 4]!;
  const p02 = cells[at + 5]!;
  const p11 = cells[at + 6]!;
  const p12 = cells[at + 7]!;
  const p22 = cells[at + 8]!;
  const q = model.flutter * model.flutter * (1 - f * f);
  ahead[at] = cells[at]!;
  ahead[at + 1] = c * cells[at + 1]! - s * cells[at + 2]!;
  ahead[at + 2] = s * cells[at + 1]! + c * cells[at + 2]!;
  ahead[at + 3] = cells[at + 3]! + h * model.wander * model.wander;
  ahead[at + 4] = c * p01 - s * p02;
  ahead[at + 5] = s * p01 + c * p02;
  ahead[at + 6] = c * c * p11 - 2 * c * s * p12 + s * s * p22 + q;
  ahead[at + 7] = c * s * (p11 - p22) + (c * c - s * s) * p12;
  ahead[at + 8] = s * s * p11 + 2 * c * s * p12 + c * c * p22 + q;
}

/** A level with a fading slope and a fluctuation. Source: integrated OU process, exact. */
function predictTrend(
  model: SkyModel,
  cells: readonly number[],
  at: number,
  ahead: number[],
  h: number,
): void {
  const { slope, slopeSeconds: ts, flutter } = model;
  const d = slope > 0 ? Math.exp(-h / ts) : 1;
  const g = slope > 0 ? ts * (1 - d) : 0;
  const f = flutter > 0 ? Math.exp(-h / model.flutterSeconds) : 1;
  const p00 = cells[at + 3]!;
  const p01 = cells[at + 4]!;
  const p02 = cells[at + 5]!;
  const p11 = cells[at + 6]!;
  const p12 = cells[at + 7]!;
  const p22 = cells[at + 8]!;
  const vs = slope * slope;
  const q00 = h * model.wander * model.wander + vs * ts * (2 * h - ts * (3 - d) * (1 - d));
  ahead[at] = cells[at]! + g * cells[at + 1]!;
  ahead[at + 1] = d * cells[at + 1]!;
  ahead[at + 2] = f * cells[at + 2]!;
  ahead[at + 3] = p00 + 2 * g * p01 + g * g * p11 + Math.max(0, q00);
  ahead[at + 4] = d * (p01 + g * p11) + vs * ts * (1 - d) * (1 - d);
  ahead[at + 5] = f * (p02 + g * p12);
  ahead[at + 6] = d * d * p11 + vs * (1 - d * d);
  ahead[at + 7] = d * f * p12;
  ahead[at + 8] = f * f * p22 + flutter * flutter * (1 - f * f);
}

/**
 * Takes in a reading.
 *
 * @param reading.atSeconds  Middle of its exposure; a reading from before the newest one is taken
 *   as if it came with it.
 * @param reading.level  log2 of the mean luminance in cd/m².
 * @param reading.noise  One standard deviation of the level, stops, > 0.
 */
export function learn(
  forecast: Forecast,
  reading: { readonly atSeconds: number; readonly level: number; readonly noise: number },
  bank: BankTuning = BANK,
): Forecast {
  const { models, memory, share, freedom, surprise } = bank;
  const r = reading.noise * reading.noise;
  const isFirst = forecast.atSeconds === null;
  const seconds = isFirst ? 0 : reading.atSeconds - forecast.atSeconds;
  const all = new Array<number>(models.length * CELLS).fill(0);
  const expected = predictAll(forecast, seconds, bank, all);
  const off = isFirst ? 0 : reading.level - expected.level;
  const isEnd = endsStep(forecast, reading);
  const isSurprise = !isFirst && !isEnd && isFromSteady(off, expected.spread);
  const isStep =
    isEnd ||
    isSuddenStep(off, expected.spread, seconds) ||
    (isSurprise && Math.abs(off) > LONE_STOPS);
  const cells = new Array<number>(models.length * CELLS);
  const logWeights = new Array<number>(models.length);
  for (let index = 0; index < models.length; index += 1) {
    const model = models[index]!;
    const at = index * CELLS;
    let miss = reading.level - all[at]! - all[at + 2]!;
    let s = all[at + 3]! + 2 * all[at + 5]! + all[at + 8]! + r;
    logWeights[index] =
      memory * forecast.logWeights[index]! -
      0.5 * Math.log(s) -
      0.5 * (freedom + 1) * Math.log1p((miss * miss) / (freedom * s));
    if (isStep || miss * miss > surprise * surprise * s) {
      startOver(model, reading.level, all, at);
      miss = 0;
      s = all[at + 3]! + all[at + 8]! + r;
    }
    correct(cells, all, at, miss, s);
  }
  return {
    atSeconds: Math.max(reading.atSeconds, forecast.atSeconds ?? -Infinity),
    cells,
    logWeights: isFirst ? forecast.logWeights : settle(logWeights, models, share),
    surprised:
      isSurprise && forecast.atSeconds !== null
        ? {
            atSeconds: forecast.atSeconds,
            level: expected.level,
            changeStops: off,
            changedSeconds: reading.atSeconds,
          }
        : null,
  };
}

/** Up to this age the newest reading is as good as the models say, seconds. */
const FRESH_SECONDS = 120;
/** Smooth brightenings and dimmings of the whole sky, twilight and moonrise, last about so long. */
const TREND_LASTS_SECONDS = 3600;
/** By so much the newest trend misses what such a sky does in the meantime: a stop in half an hour. */
const STALE_STOPS_PER_SECOND = 1 / 1800;

/**
 * What the models know goes stale in a break of minutes or hours: the trend is carried on less and
 * less far, and the level becomes so doubtful that the first reading after the break is taken at
 * once.
 * Source: damped trend, Gardner & McKenzie 1985; the figures are this program's choice.
 */
function staleAfter(seconds: number): { carriedSeconds: number; doubtStops: number } {
  const over = Math.max(0, seconds - FRESH_SECONDS);
  const carried = -TREND_LASTS_SECONDS * Math.expm1(-over / TREND_LASTS_SECONDS);
  return {
    carriedSeconds: seconds - over + carried,
    doubtStops: STALE_STOPS_PER_SECOND * over,
  };
}

/** Predicts every model into `all` and mixes them by their weights. */
function predictAll(forecast: Forecast, seconds: number, bank: BankTuning, all: number[]): Outlook {
  const { models } = bank;
  const { carriedSeconds, doubtStops } = staleAfter(seconds);
  // Means are taken from a base, so that their squares stay small.
  const base = forecast.cells[0]!;
  let level = 0;
  let square = 0;
  for (let index = 0; index < models.length; index += 1) {
    const at = index * CELLS;
    predict(models[index]!, forecast.cells, at, all, carriedSeconds);
    all[at + 3]! += doubtStops * doubtStops;
    const weight = Math.exp(forecast.logWeights[index]!);
    const mean = all[at]! + all[at + 2]! - base;
    level += weight * mean;
    square += weight * (all[at + 3]! + 2 * all[at + 5]! + all[at + 8]! + mean * mean);
  }
  return { level: base + level, spread: Math.sqrt(Math.max(0, square - level * level)) };
}

function startOver(model: SkyModel, level: number, all: number[], at: number): void {
  all.fill(0, at, at + CELLS);
  all[at] = level;
  all[at + 3] = UNKNOWN;
  all[at + 6] = secondVariance(model);
  all[at + 8] = model.flutter * model.flutter;
}

/** The Kalman filter's correction of one model, from what was predicted into the new cells. */
function correct(cells: number[], all: number[], at: number, off: number, s: number): void {
  const c0 = all[at + 3]! + all[at + 5]!;
  const c1 = all[at + 4]! + all[at + 7]!;
  const c2 = all[at + 5]! + all[at + 8]!;
  const k0 = c0 / s;
  const k1 = c1 / s;
  const k2 = c2 / s;
  cells[at] = all[at]! + k0 * off;
  cells[at + 1] = all[at + 1]! + k1 * off;
  cells[at + 2] = all[at + 2]! + k2 * off;
  cells[at + 3] = all[at + 3]! - k0 * c0;
  cells[at + 4] = all[at + 4]! - k0 * c1;
  cells[at + 5] = all[at + 5]! - k0 * c2;
  cells[at + 6] = all[at + 6]! - k1 * c1;
  cells[at + 7] = all[at + 7]! - k1 * c2;
  cells[at + 8] = all[at + 8]! - k2 * c2;
}

/** No aurora rises faster: an onset grows at about 0.07 stop/s. Source: Kalmoni et al. 2015, 2017. */
const STEP_STOPS_PER_SECOND = 0.1;
const STEP_STOPS_MIN = 0.3;
const STEP_SPREADS = 4;

/**
 * True when the sky has changed more suddenly than any sky does by itself and than the bank
 * thought possible: a lamp, a cloud's edge, the hut's door. Every model then starts over at the
 * new level, so that none drags the old level or a senseless slope along.
 */
function isSuddenStep(off: number, spread: number, seconds: number): boolean {
  const natural = STEP_STOPS_MIN + STEP_STOPS_PER_SECOND * Math.max(0, seconds);
  return Math.abs(off) > natural && Math.abs(off) > STEP_SPREADS * spread;
}

/** A sky counts as steady while its forecast is surer than this, stops. */
const STEADY_SPREAD = 0.15;

/** A lone jump of more than this out of a steady sky makes no slope yet; the next reading may. */
const LONE_STOPS = 0.4;

function isFromSteady(off: number, spread: number): boolean {
  return spread < STEADY_SPREAD && Math.abs(off) > Math.max(0.15, STEP_SPREADS * spread);
}

/**
 * From one frame to the next, and over two, no sky out of a steady one goes faster: onsets grow by
 * 0.07 stop/s at most (Kalmoni et al. 2015); what fades by itself, aurora or twilight, and the
 * edges of clouds are slower still.
 */
const RISE_STOPS_PER_SECOND = 0.08;
const FALL_STOPS_PER_SECOND = 0.05;
/** A change that grows by less than this share of what a steady one would has come to its end. */
const SPENT_SHARE = 0.9;

/**
 * True when a steady sky surprised with its newest reading and this one goes on the same way, but
 * as no onset does: faster than any sky changes, or already more slowly than it began. A step fell
 * into the frame before, which saw only a part of it; what looks like a steep slope is over.
 */
function endsStep(
  { surprised }: Forecast,
  reading: { readonly atSeconds: number; readonly level: number },
): boolean {
  if (surprised === null) return false;
  const { changeStops } = surprised;
  const total = (reading.level - surprised.level) * Math.sign(changeStops);
  const first = Math.abs(changeStops);
  const firstSeconds = Math.max(1e-3, surprised.changedSeconds - surprised.atSeconds);
  const seconds = Math.max(firstSeconds, reading.atSeconds - surprised.atSeconds);
  // Had a steady change begun right at the reading before, it would have grown with the time; had
  // it begun later, by more.
  if (total < (SPENT_SHARE * first * seconds) / firstSeconds) return total > 0;
  const natural = changeStops > 0 ? RISE_STOPS_PER_SECOND : FALL_STOPS_PER_SECOND;
  return (
    total > STEP_STOPS_MIN + natural * seconds ||
    total - first > Math.max(STEP_STOPS_MIN, natural * (seconds - firstSeconds))
  );
}

/** Brings the weights to a sum of 1 and deals a share of it out by the priors; in place. */
function settle(logWeights: number[], models: readonly SkyModel[], share: number): number[] {
  let top = -Infinity;
  let priors = 0;
  for (let index = 0; index < models.length; index += 1) {
    top = Math.max(top, logWeights[index]!);
    priors += models[index]!.prior;
  }
  let sum = 0;
  for (let index = 0; index < models.length; index += 1) {
    logWeights[index] = Math.exp(logWeights[index]! - top);
    sum += logWeights[index]!;
  }
  for (let index = 0; index < models.length; index += 1) {
    const dealt = (share * models[index]!.prior) / priors;
    logWeights[index] = Math.log(((1 - share) * logWeights[index]!) / sum + dealt);
  }
  return logWeights;
}

/** @returns null before the first reading. */
export function outlook(
  forecast: Forecast,
  atSeconds: number,
  bank: BankTuning = BANK,
): Outlook | null {
  if (forecast.atSeconds === null) return null;
  const ahead = new Array<number>(bank.models.length * CELLS).fill(0);
  return predictAll(forecast, atSeconds - forecast.atSeconds, bank, ahead);
}

/** Which kind of model carries most of the weight. */
export function moodOf(forecast: Forecast, bank: BankTuning = BANK): SkyMood {
  const sums = { still: 0, trending: 0, pulsing: 0, wild: 0 };
  for (let index = 0; index < bank.models.length; index += 1) {
    sums[bank.models[index]!.mood] += Math.exp(forecast.logWeights[index]!);
  }
  let best: SkyMood = "still";
  for (const mood of ["trending", "pulsing", "wild"] as const) {
    if (sums[mood] > sums[best]) best = mood;
  }
  return best;
}
