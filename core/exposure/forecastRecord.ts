import type { Outlook } from "./forecast.ts";

/**
 * How the bank's forecasts have done beside the plainest one, "as the newest reading says"; plain
 * data. A sky that wanders without memory leaves nothing to foresee, and there the plain one is
 * the better: the two are mixed by the weight that would have erred least.
 * Source: combination of forecasts by their past errors, Bates & Granger 1969.
 */
export type ForecastRecord = {
  /** Level of the newest reading; null: nothing seen yet. */
  readonly newestLevel: number | null;
  /** Faded sums of the errors' squares and products, in units of the bank's own spread². */
  readonly bankSquares: number;
  readonly products: number;
  readonly plainSquares: number;
};

export function startForecastRecord(): ForecastRecord {
  return { newestLevel: null, bankSquares: 0, products: 0, plainSquares: 0 };
}

/** Share of the record that is kept from reading to reading. */
const MEMORY = 0.985;
/** No forecast is held to a finer measure than the meter's own noise, stops. */
const SPREAD_MIN = 0.02;

/** Compares a reading with what the bank had expected of it. */
export function recordAfter(
  record: ForecastRecord,
  expected: Outlook,
  level: number,
): ForecastRecord {
  if (record.newestLevel === null) return { ...record, newestLevel: level };
  const spread = Math.max(SPREAD_MIN, expected.spread);
  const bank = (expected.level - level) / spread;
  const plain = (record.newestLevel - level) / spread;
  return {
    newestLevel: level,
    bankSquares: MEMORY * record.bankSquares + bank * bank,
    products: MEMORY * record.products + bank * plain,
    plainSquares: MEMORY * record.plainSquares + plain * plain,
  };
}

/** The bank is believed until so much speaks against it, in the same units as the sums. */
const BELIEF = 3;

/** The bank's forecast, mixed with the newest reading as the record tells. */
export function mixByRecord(record: ForecastRecord, bank: Outlook): Outlook {
  const { newestLevel, bankSquares, products, plainSquares } = record;
  if (newestLevel === null) return bank;
  const share =
    (plainSquares - products + BELIEF) / (bankSquares + plainSquares - 2 * products + BELIEF);
  const bankShare = Math.min(1, Math.max(0, share));
  return { ...bank, level: bankShare * bank.level + (1 - bankShare) * newestLevel };
}
