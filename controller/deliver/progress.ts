import type { DeliverProgress, DeliverStage } from "../../core/api/deliverMessages.ts";

/** Counts the work of a delivery and tells how long it will still take. */
export class ProgressCounter {
  readonly #tell: (progress: DeliverProgress) => void;
  readonly #totalUnits: number;
  readonly #startedMs = performance.now();
  #doneUnits = 0;
  /** Units that were there already: they took no time and must not promise any. */
  #givenUnits = 0;

  /** @param totalUnits  The whole work, in any one unit. */
  constructor(totalUnits: number, tell: (progress: DeliverProgress) => void) {
    this.#totalUnits = Math.max(1, totalUnits);
    this.#tell = tell;
  }

  /** @param isGiven  True when the step had been done by an earlier delivery. */
  step(
    at: { stage: DeliverStage; label: string; doneCount: number; totalCount: number },
    units: number,
    isGiven = false,
  ): void {
    this.#doneUnits += units;
    if (isGiven) this.#givenUnits += units;
    const share = Math.min(1, this.#doneUnits / this.#totalUnits);
    this.#tell({ ...at, share, secondsLeft: this.#secondsLeft() });
  }

  #secondsLeft(): number | null {
    const seconds = (performance.now() - this.#startedMs) / 1000;
    const worked = this.#doneUnits - this.#givenUnits;
    if (worked <= 0 || seconds < 1) return null;
    return Math.max(0, ((this.#totalUnits - this.#doneUnits) * seconds) / worked);
  }
}
