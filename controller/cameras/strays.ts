import { outOfStep } from "./transportErrors.ts";

/** What a camera may send out of place before the link counts as out of step. */
const STRAYS_MAX = 200;
/** Transactions whose late answers are still recognised. */
const REMEMBERED_TRANSACTIONS = 64;

/** What a camera sends that belongs to nothing that runs: passed over, as long as it is not much. */
export class Strays {
  #count = 0;
  #recentIds: readonly number[] = [];

  /** A transaction begins; what comes for it later than its end is late and no riddle. */
  remember(transactionId: number): void {
    this.#recentIds = [...this.#recentIds, transactionId].slice(-REMEMBERED_TRANSACTIONS);
  }

  /** @throws NightError `ptp.malformed` when it is one too many. */
  note(): void {
    this.#count += 1;
    if (this.#count > STRAYS_MAX) throw outOfStep("too much that belongs nowhere");
  }

  /** An answer to another transaction than the running one. @throws as `note`, or when never asked. */
  noteAnswerTo(transactionId: number): void {
    if (!this.#recentIds.includes(transactionId)) {
      throw outOfStep("an answer to a question that was never asked");
    }
    this.note();
  }
}
