import { monotonicMs, type MonotonicMs } from "../units.ts";

/** The moment at which a battery was first read at a lower figure. */
export type BatteryFall = { readonly atMs: MonotonicMs; readonly percent: number };

/** As many falls as the pace of the last while shows in: an hour or two of a body that tells whole per cents. */
const FALL_COUNT_MAX = 8;

type BatteryReading = BatteryFall & {
  /** The figure read before; null: none yet. */
  readonly beforePercent: number | null;
};

/**
 * Takes in a battery reading, per cent at a moment of the night's clock. Only the moments at which
 * the figure falls say anything: cameras tell it in steps, some of a quarter of the battery. A figure
 * that rises is a fresh battery, and what the old one did is forgotten.
 *
 * @param falls  Oldest first.
 * Source: common practice, no source.
 */
export function withBatteryReading(
  falls: readonly BatteryFall[],
  { atMs, percent, beforePercent }: BatteryReading,
): readonly BatteryFall[] {
  if (beforePercent === null || percent === beforePercent) return falls;
  return percent > beforePercent ? [] : [...falls, { atMs, percent }].slice(-FALL_COUNT_MAX);
}

/**
 * When the battery will be down to `stopPercent` if it goes on falling as it did of late.
 *
 * @returns null with fewer than two falls: the drain is not known.
 * Accuracy: of the falls' own steps; a change of pace or cold shows only after some falls.
 */
export function batteryEndMs(
  falls: readonly BatteryFall[],
  stopPercent: number,
): MonotonicMs | null {
  const [first, last] = [falls[0], falls.at(-1)];
  if (!first || !last || first.percent <= last.percent) return null;
  const msPerPercent = (last.atMs - first.atMs) / (first.percent - last.percent);
  return monotonicMs(last.atMs + Math.max(0, last.percent - stopPercent) * msPerPercent);
}
