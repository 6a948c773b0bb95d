import type { Outlook } from "./forecast.ts";

/** What two forecasters said of a frame when it was ordered. */
export type Expectation = {
  readonly frameIndex: number;
  /** The bank of models. */
  readonly bank: Outlook;
  /** The plainest of all: the level of the newest reading that was there. */
  readonly plainLevel: number;
};

/**
 * How the bank has done beside the plain forecast; plain data. A sky that wanders without memory
 * leaves nothing to foresee, and there the plain one is the better: the two are mixed by the
 * weights that would have erred least. Each is judged by what it said when the frame was ordered,
 * so that readings which come late are accounted for.
 * Source: combination of forecasts by their past errors, Bates & Granger 1969.
 */
export type ForecastRecord = {
  /** Frames ordered whose readings are not there yet, oldest first. */
  readonly pending: readonly Expectation[];
  /** Faded sums of the errors' squares and products, in units of the bank's own spread². */
  readonly bankSquares: number;
  readonly products: number;
  readonly plainSquares: number;
};

export function startForecastRecord(): ForecastRecord {
  return { pending: [], bankSquares: 0, products: 0, plainSquares: 0 };
}

/** So many frames may be on their way at once; older ones are given up. */
const PENDING_MAX = 4;

export function expectFrame(record: ForecastRecord, expectation: Expectation): ForecastRecord {
  return { ...record, pending: [...record.pending, expectation].slice(-PENDING_MAX) };
}

/** Share of the record that is kept from reading to reading. */
const MEMORY = 0.985;
/** No forecast is held to a finer measure than the meter's own noise, stops. */
const SPREAD_MIN = 0.02;
/** A sky that was off by so many spreads from both was not to be foreseen, and tells nothing. */
const UNFORESEEN_SPREADS = 5;

/** Compares the level of a frame with what was expected of it. */
export function recordAfter(
  record: ForecastRecord,
  frameIndex: number,
  level: number,
): ForecastRecord {
  const expected = record.pending.find((each) => each.frameIndex === frameIndex);
  if (expected === undefined) return record;
  const pending = record.pending.filter((each) => each.frameIndex > frameIndex);
  const spread = Math.max(SPREAD_MIN, expected.bank.spread);
  const bank = (expected.bank.level - level) / spread;
  const plain = (expected.plainLevel - level) / spread;
  if (Math.min(Math.abs(bank), Math.abs(plain)) > UNFORESEEN_SPREADS) return { ...record, pending };
  return {
    pending,
    bankSquares: MEMORY * record.bankSquares + bank * bank,
    products: MEMORY * record.products + bank * plain,
    plainSquares: MEMORY * record.plainSquares + plain * plain,
  };
}

/** The bank is believed until so much speaks against it, in the same units as the sums. */
const BELIEF = 3;

/** The bank's forecast, mixed with the plain one as the record tells. */
export function mixByRecord(record: ForecastRecord, bank: Outlook, plainLevel: number): Outlook {
  const { bankSquares, products, plainSquares } = record;
  const share =
    (plainSquares - products + BELIEF) / (bankSquares + plainSquares - 2 * products + BELIEF);
  const bankShare = Math.min(1, Math.max(0, share));
  return { ...bank, level: bankShare * bank.level + (1 - bankShare) * plainLevel };
}
