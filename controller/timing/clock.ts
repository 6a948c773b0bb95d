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

export function startOrigin(options: { rate: number; startUtcMs: UtcMs }): ClockOrigin {
  return { rate: options.rate, realOriginMs: realMs(), startUtcMs: options.startUtcMs };
}

/** A clock on an origin; two clocks on one origin agree, whatever thread they live in. */
export function createClock(origin: ClockOrigin): Clock {
  const now = (): number => (realMs() - origin.realOriginMs) * origin.rate;
  return {
    origin,
    monotonicMs: () => monotonicMs(now()),
    utcMs: () => utcMs(Math.round(origin.startUtcMs + now())),
    utcOf: (atMs) => utcMs(Math.round(origin.startUtcMs + atMs)),
    sleepUntil: (deadlineMs, signal) =>
      new Promise((resolve, reject) => {
        if (signal?.aborted) return reject(asError(signal.reason));
        // A timer may fire up to a millisecond early; look again rather than return early.
        let timer: NodeJS.Timeout;
        const look = (): void => {
          const leftMs = (deadlineMs - now()) / origin.rate;
          if (leftMs <= 0) {
            signal?.removeEventListener("abort", stop);
            resolve();
          } else {
            timer = setTimeout(look, Math.min(leftMs, 2 ** 30));
          }
        };
        const stop = (): void => {
          clearTimeout(timer);
          reject(asError(signal?.reason));
        };
        signal?.addEventListener("abort", stop, { once: true });
        look();
      }),
  };
}

function asError(reason: unknown): Error {
  return reason instanceof Error ? reason : new Error("aborted");
}
