import { NightError } from "../../core/errors.ts";

/** Runs a few pieces of work at a time, in order, with a bound on how many may wait. */
export class WorkQueue {
  readonly #atOnce: number;
  readonly #waitingMax: number;
  readonly #waiting: (() => void)[] = [];
  #running = 0;

  constructor(options: { atOnce: number; waitingMax: number }) {
    this.#atOnce = options.atOnce;
    this.#waitingMax = options.waitingMax;
  }

  /** Work that is underway or waiting. */
  get load(): number {
    return this.#running + this.#waiting.length;
  }

  /** @throws NightError `web.refused` when too much is waiting. */
  async run<T>(work: () => Promise<T>): Promise<T> {
    if (this.#waiting.length >= this.#waitingMax) {
      throw new NightError("web.refused", "Too many pictures are being made; ask again soon.");
    }
    if (this.#running < this.#atOnce) this.#running += 1;
    else await new Promise<void>((resolve) => this.#waiting.push(resolve));
    try {
      return await work();
    } finally {
      // A waiting piece takes over this one's place, so that nobody can slip in between.
      const next = this.#waiting.shift();
      if (next === undefined) this.#running -= 1;
      else next();
    }
  }
}
