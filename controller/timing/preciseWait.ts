import { realMs } from "./clock.ts";

/** How a thread waits for the moment of a deadline. */
export type MomentWait = {
  /**
   * Real milliseconds before a deadline at which a coarse timer hands over to `blockUntil`; 0 when
   * the coarse timer alone decides.
   */
  readonly handOverMs: number;
  /** Returns at or after the moment, real milliseconds; holds the thread meanwhile. */
  blockUntil(momentMs: number): void;
};

/**
 * A timer of the event loop may be late by a millisecond or two even in an idle thread; the last
 * stretch is slept in the kernel, and its wake-up error, too, is spun away.
 */
const HAND_OVER_MS = 4;
const SPIN_MS = 1.5;

/** Waiting as the timing thread does it: sleep, then spin, to some ten microseconds. */
export function preciseWait(): MomentWait {
  const cell = new Int32Array(new SharedArrayBuffer(4));
  return {
    handOverMs: HAND_OVER_MS,
    blockUntil: (momentMs) => {
      const sleepMs = momentMs - realMs() - SPIN_MS;
      if (sleepMs > 0) Atomics.wait(cell, 0, 0, sleepMs);
      while (realMs() < momentMs);
    },
  };
}

/** Waiting by the event loop's timers alone, as a program without a timing thread would. */
export function plainTimerWait(): MomentWait {
  return { handOverMs: 0, blockUntil: () => undefined };
}
