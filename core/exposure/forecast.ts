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
};

/** What the sky will be. */
export type Outlook = {
  /** Expected log2 of the luminance in cd/m². */
  readonly level: number;
  /** One standard deviation, stops. */
  readonly spread: number;
};

/** How the bank weighs its models. */
export type BankTuning = {
  readonly models: readonly SkyModel[];
  /** Share of a model's record that is kept from reading to reading. */
  readonly memory: number;
  /** Share that is dealt out anew by the priors at each reading. */
  readonly share: number;
  /** Degrees of freedom of the error's distribution: small forgives outliers. */
  readonly freedom: number;
  /** A model that was off by more than this many of its own standard deviations starts over. */
  readonly surprise: number;
};

export const BANK: BankTuning = {
  models: SKY_MODELS,
  memory: 0.93,
  share: 0.01,
  freedom: 5,
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
  };
}

function freshCells({ slope, flutter }: SkyModel): number[] {
  return [0, 0, 0, UNKNOWN, 0, 0, slope * slope, 0, flutter * flutter];
}

/** Room for one model's prediction; used over and over, never kept. */
const ahead = new Float64Array(CELLS);

/** Writes the model's state `seconds` later into `ahead`. Source: integrated OU process, exact. */
function predict(model: SkyModel, cells: readonly number[], at: number, seconds: number): void {
  const h = Math.max(0, seconds);
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
  ahead[0] = cells[at]! + g * cells[at + 1]!;
  ahead[1] = d * cells[at + 1]!;
  ahead[2] = f * cells[at + 2]!;
  ahead[3] = p00 + 2 * g * p01 + g * g * p11 + Math.max(0, q00);
  ahead[4] = d * (p01 + g * p11) + vs * ts * (1 - d) * (1 - d);
  ahead[5] = f * (p02 + g * p12);
  ahead[6] = d * d * p11 + vs * (1 - d * d);
  ahead[7] = d * f * p12;
  ahead[8] = f * f * p22 + flutter * flutter * (1 - f * f);
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
  const seconds = forecast.atSeconds === null ? 0 : reading.atSeconds - forecast.atSeconds;
  const isStep = isSuddenStep(forecast, reading, bank);
  const cells = new Array<number>(models.length * CELLS);
  const logWeights = new Array<number>(models.length);
  for (let index = 0; index < models.length; index += 1) {
    const model = models[index]!;
    const at = index * CELLS;
    predict(model, forecast.cells, at, seconds);
    let off = reading.level - ahead[0]! - ahead[2]!;
    let s = ahead[3]! + 2 * ahead[5]! + ahead[8]! + r;
    logWeights[index] =
      memory * forecast.logWeights[index]! -
      0.5 * Math.log(s) -
      0.5 * (freedom + 1) * Math.log1p((off * off) / (freedom * s));
    if (isStep || off * off > surprise * surprise * s) {
      const fresh = freshCells(model);
      for (let cell = 0; cell < CELLS; cell += 1) ahead[cell] = fresh[cell]!;
      ahead[0] = reading.level;
      off = 0;
      s = ahead[3]! + 2 * ahead[5]! + ahead[8]! + r;
    }
    const c0 = ahead[3]! + ahead[5]!;
    const c1 = ahead[4]! + ahead[7]!;
    const c2 = ahead[5]! + ahead[8]!;
    const k0 = c0 / s;
    const k1 = c1 / s;
    const k2 = c2 / s;
    cells[at] = ahead[0]! + k0 * off;
    cells[at + 1] = ahead[1]! + k1 * off;
    cells[at + 2] = ahead[2]! + k2 * off;
    cells[at + 3] = ahead[3]! - k0 * c0;
    cells[at + 4] = ahead[4]! - k0 * c1;
    cells[at + 5] = ahead[5]! - k0 * c2;
    cells[at + 6] = ahead[6]! - k1 * c1;
    cells[at + 7] = ahead[7]! - k1 * c2;
    cells[at + 8] = ahead[8]! - k2 * c2;
  }
  const isFirst = forecast.atSeconds === null;
  return {
    atSeconds: Math.max(reading.atSeconds, forecast.atSeconds ?? -Infinity),
    cells,
    logWeights: isFirst ? forecast.logWeights : settle(logWeights, models, share),
  };
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
function isSuddenStep(
  forecast: Forecast,
  reading: { readonly atSeconds: number; readonly level: number },
  bank: BankTuning,
): boolean {
  const expected = outlook(forecast, reading.atSeconds, bank);
  if (expected === null || forecast.atSeconds === null) return false;
  const off = Math.abs(reading.level - expected.level);
  const seconds = Math.max(0, reading.atSeconds - forecast.atSeconds);
  const natural = STEP_STOPS_MIN + STEP_STOPS_PER_SECOND * seconds;
  return off > natural && off > STEP_SPREADS * expected.spread;
}

/** Brings the weights to a sum of 1 and deals a share of it out by the priors. */
function settle(logWeights: number[], models: readonly SkyModel[], share: number): number[] {
  let top = -Infinity;
  let priors = 0;
  for (let index = 0; index < models.length; index += 1) {
    top = Math.max(top, logWeights[index]!);
    priors += models[index]!.prior;
  }
  let sum = 0;
  for (const weight of logWeights) sum += Math.exp(weight - top);
  return logWeights.map((weight, index) =>
    Math.log(
      ((1 - share) * Math.exp(weight - top)) / sum + (share * models[index]!.prior) / priors,
    ),
  );
}

/** @returns null before the first reading. */
export function outlook(
  forecast: Forecast,
  atSeconds: number,
  bank: BankTuning = BANK,
): Outlook | null {
  if (forecast.atSeconds === null) return null;
  const seconds = atSeconds - forecast.atSeconds;
  let level = 0;
  let square = 0;
  const base = forecast.cells[0]!;
  for (let index = 0; index < bank.models.length; index += 1) {
    predict(bank.models[index]!, forecast.cells, index * CELLS, seconds);
    const weight = Math.exp(forecast.logWeights[index]!);
    const mean = ahead[0]! + ahead[2]! - base;
    level += weight * mean;
    square += weight * (ahead[3]! + 2 * ahead[5]! + ahead[8]! + mean * mean);
  }
  return { level: base + level, spread: Math.sqrt(Math.max(0, square - level * level)) };
}

/** Which kind of model carries most of the weight. */
export function moodOf(forecast: Forecast, bank: BankTuning = BANK): SkyMood {
  const sums = new Map<SkyMood, number>();
  let best: SkyMood = "still";
  bank.models.forEach(({ mood }, index) => {
    const sum = (sums.get(mood) ?? 0) + Math.exp(forecast.logWeights[index]!);
    sums.set(mood, sum);
    if (sum > (sums.get(best) ?? 0)) best = mood;
  });
  return best;
}
