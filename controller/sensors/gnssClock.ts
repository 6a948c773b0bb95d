import type { UtcMs } from "../../core/units.ts";

/** Comparisons that are looked at together: about half a minute of sentences. */
const KEPT = 30;

/**
 * Compares the laptop's clock with a GNSS receiver's. A sentence always arrives after the moment it
 * names, so of many comparisons the one with the least delay is nearest to the truth; without the
 * receiver's pulse some tenths of a second of delay remain.
 */
export class GnssClock {
  #lags: number[] = [];

  /** @param arrivedUtcMs  The laptop's time at which the sentence was read. */
  note(gnssUtcMs: UtcMs, arrivedUtcMs: UtcMs): void {
    this.#lags = [...this.#lags, arrivedUtcMs - gnssUtcMs].slice(-KEPT);
  }

  /** Laptop clock less GNSS, milliseconds; null: never compared. */
  get offsetMs(): number | null {
    return this.#lags.length === 0 ? null : Math.min(...this.#lags);
  }
}
