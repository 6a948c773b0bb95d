import { monotonicMs, utcMs, type MonotonicMs, type UtcMs } from "../../core/units.ts";

/** Where the night's clock stands and how fast it runs; plain data, so that a thread can share it. */
export type ClockOrigin = {
  /** Night milliseconds per real millisecond: 1 in life, 10 in the demo. */
  readonly rate: number;
  /** Real time at which the night's clock was 0: `performance.timeOrigin + performance.now()`. */
  readonly realOriginMs: number;
  /** What the wall clock of the night said at that moment. */
  readonly startUtcMs: UtcMs;
};

/** The night's time. All of it is night time, also what `sleepUntil` waits for. */
export type Clock = {
  readonly origin: ClockOrigin;
  monotonicMs(): MonotonicMs;
  utcMs(): UtcMs;
  /** The wall-clock time of a moment on the monotonic clock. */
  utcOf(atMs: MonotonicMs): UtcMs;
  /** Resolves at or after the deadline; rejects with the signal's reason when aborted. */
  sleepUntil(deadlineMs: MonotonicMs, signal?: AbortSignal): Promise<void>;
};

/** Real monotonic milliseconds that all threads and processes of one machine agree on closely. */
export function realMs(): number {
  return performance.timeOrigin + performance.now();
}

/** Real time as a thread lives by it: handed in, so that a test can let hours pass in seconds. */
export type RealTime = {
  /** As `realMs()`. */
  nowMs(): number;
  /** Calls back once after so many real milliseconds. @returns what calls it off. */
  after(delayMs: number, callback: () => void): () => void;
};

/** The longest delay that a timer takes; a longer one would fire at once. */
const TIMER_MS_MAX = 2 ** 30;

export const REAL_TIME: RealTime = {
  nowMs: realMs,
  after: (delayMs, callback) => {
    const timer = setTimeout(callback, Math.min(Math.max(delayMs, 0), TIMER_MS_MAX));
    return () => clearTimeout(timer);
  },
};

/** Resolves after so many real milliseconds, sooner when the signal is aborted. */
export function pauseFor(time: RealTime, pauseMs: number, signal?: AbortSignal): Promise<void> {
  return new Promise((resolve) => {
    const end = (): void => {
      callOff();
      signal?.removeEventListener("abort", end);
      resolve();
    };
    const callOff = time.after(pauseMs, end);
    signal?.addEventListener("abort", end, { once: true });
    if (signal?.aborted) end();
  });
}

export function startOrigin(options: { rate: number; startUtcMs: UtcMs }): ClockOrigin {
  return { rate: options.rate, realOriginMs: realMs(), startUtcMs: options.startUtcMs };
}

/** A clock on an origin; two clocks on one origin agree, whatever thread they live in. */
export function createClock(origin: ClockOrigin, time: RealTime = REAL_TIME): Clock {
  const now = (): number => nightOf(time.nowMs(), origin);
  return {
    origin,
    monotonicMs: () => monotonicMs(now()),
    utcMs: () => utcMs(Math.round(origin.startUtcMs + now())),
    utcOf: (atMs) => utcMs(Math.round(origin.startUtcMs + atMs)),
    sleepUntil: (deadlineMs, signal) =>
      new Promise((resolve, reject) => {
        if (signal?.aborted) return reject(asError(signal.reason));
        // A timer may fire up to a millisecond early; look again rather than return early.
        let callOff = (): void => undefined;
        const look = (): void => {
          const leftMs = (deadlineMs - now()) / origin.rate;
          if (leftMs <= 0) {
            signal?.removeEventListener("abort", stop);
            resolve();
          } else {
            callOff = time.after(leftMs, look);
          }
        };
        const stop = (): void => {
          callOff();
          reject(asError(signal?.reason));
        };
        signal?.addEventListener("abort", stop, { once: true });
        look();
      }),
  };
}

/** Real time (as `realMs()` counts) of a moment of the night. */
export function realOf(nightMs: MonotonicMs, origin: ClockOrigin): number {
  return origin.realOriginMs + nightMs / origin.rate;
}

/** The night's time at a real moment. */
export function nightOf(atMs: number, origin: ClockOrigin): MonotonicMs {
  return monotonicMs((atMs - origin.realOriginMs) * origin.rate);
}

function asError(reason: unknown): Error {
  return reason instanceof Error ? reason : new Error("aborted");
}
