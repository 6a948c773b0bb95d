import type { WorkProgress } from "../../core/api/workProgress.ts";

/** What is being done, and how far that part of the work is. */
export type WorkStep = Pick<WorkProgress, "label" | "doneCount" | "totalCount">;

/** Before that a rate says nothing: threads have still to start. */
const RATE_SECONDS_MIN = 2;
const RATE_SHARE_MIN = 0.01;

/** Counts long work and tells how far it is and how long it will still take. */
export class ProgressCounter<Step extends WorkStep = WorkStep> {
  readonly #tell: (progress: Step & WorkProgress) => void;
  readonly #totalUnits: number;
  readonly #startedMs = performance.now();
  #doneUnits = 0;
  /** Units that were there already: they took no time and must not promise any. */
  #givenUnits = 0;

  /** @param totalUnits  The whole work, in any one unit. */
  constructor(totalUnits: number, tell: (progress: Step & WorkProgress) => void) {
    this.#totalUnits = Math.max(Number.EPSILON, totalUnits);
    this.#tell = tell;
  }

  /**
   * @param units  What has been done since the last step.
   * @param isGiven  True when an earlier run had done it.
   */
  step(at: Step, units: number, isGiven = false): void {
    this.#doneUnits += units;
    if (isGiven) this.#givenUnits += units;
    const share = Math.min(1, this.#doneUnits / this.#totalUnits);
    this.#tell({ ...at, share, secondsLeft: this.#secondsLeft() });
  }

  #secondsLeft(): number | null {
    const seconds = (performance.now() - this.#startedMs) / 1000;
    const worked = this.#doneUnits - this.#givenUnits;
    const isEarly = seconds < RATE_SECONDS_MIN || worked < RATE_SHARE_MIN * this.#totalUnits;
    if (isEarly) return null;
    return Math.max(0, ((this.#totalUnits - this.#doneUnits) * seconds) / worked);
  }
}
