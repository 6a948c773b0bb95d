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
 *
 * Tried as an ordinary user with a busy program on each of two processors (`npm run bench -- --only
 * shutterOrdinary`, three runs): nine exposures in ten were right to 7 to 9 ms with 1.5 ms of
 * spinning, 9 to 12 with half, 13 to 14 with twice and 12 to 21 with ten times as much; plain timers
 * 11 to 16. A thread that spins has used its turn up when it is due. Sleeping from 30 ms before, in
 * one or in steps of 1 ms, gained nothing.
 */
const STRETCHES = { handOverMs: 4, spinMs: 1.5 };

/** Waiting as the timing thread does it: sleep, then spin, to some ten microseconds. */
export function preciseWait({ handOverMs, spinMs } = STRETCHES): MomentWait {
  const cell = new Int32Array(new SharedArrayBuffer(4));
  return {
    handOverMs,
    blockUntil: (momentMs) => {
      const sleepMs = momentMs - realMs() - spinMs;
      if (sleepMs > 0) Atomics.wait(cell, 0, 0, sleepMs);
      while (realMs() < momentMs);
    },
  };
}
