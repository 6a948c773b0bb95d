import type { RealTime } from "../../controller/timing/clock.ts";

type Timer = { readonly atMs: number; readonly callback: () => void };

/**
 * Turns of the event loop in which nothing was asked of the clock before time moves on. Promises
 * settle within one; a few more let work pass through a stream.
 */
const IDLE_TURNS = 3;

/** Real time that passes as soon as everybody waits for it; hours pass in seconds. */
export class SimulatedTime implements RealTime {
  #nowMs: number;
  #timers: Timer[] = [];
  #isRunning = false;
  #changes = 0;
  readonly #lateMs: number;

  /** @param options.lateMs  How late every timer comes, as on a busy computer. */
  constructor({ startMs = 1_000_000, lateMs = 0 } = {}) {
    this.#nowMs = startMs;
    this.#lateMs = lateMs;
  }

  readonly nowMs = (): number => this.#nowMs;

  readonly after = (delayMs: number, callback: () => void): (() => void) => {
    this.#changes += 1;
    const timer = { atMs: this.#nowMs + Math.max(delayMs, 0) + this.#lateMs, callback };
    this.#timers.push(timer);
    return () => {
      this.#changes += 1;
      this.#timers = this.#timers.filter((other) => other !== timer);
    };
  };

  /** Lets time pass until the work is done. @throws Error when everybody waits for ever. */
  async run<T>(work: Promise<T>): Promise<T> {
    this.#isRunning = true;
    const ended = work.finally(() => (this.#isRunning = false));
    ended.catch(() => undefined); // the caller that awaits the work hears of it
    for (let idle = 0; this.#isRunning;) {
      const before = this.#changes;
      await new Promise((resolve) => setImmediate(resolve));
      idle = this.#changes === before ? idle + 1 : 0;
      if (idle >= IDLE_TURNS && this.#isRunning) {
        this.#pass();
        idle = 0;
      }
    }
    return await ended;
  }

  #pass(): void {
    const [next] = [...this.#timers].sort((one, other) => one.atMs - other.atMs);
    if (!next || next.atMs === Infinity) throw new Error("nothing is left to wait for");
    this.#timers = this.#timers.filter((other) => other !== next);
    this.#nowMs = Math.max(this.#nowMs, next.atMs);
    next.callback();
  }
}
