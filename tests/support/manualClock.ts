import type { Clock } from "../../controller/timing/clock.ts";
import { monotonicMs, utcMs, type MonotonicMs } from "../../core/units.ts";

type Sleeper = {
  readonly deadlineMs: number;
  readonly wake: () => void;
};

/** A clock that moves only when asked to; sleepers are woken in order. */
export type ManualClock = Clock & {
  /** Moves to the next sleeper's deadline, lets everything follow, and so on until `untilMs`. */
  advanceTo(untilMs: number): Promise<void>;
  /** Real work, such as decoding, that has to come to rest before time goes on. */
  isAtRest: () => boolean;
};

export function createManualClock(startUtcMs = Date.UTC(2027, 0, 1)): ManualClock {
  let nowMs = 0;
  const sleepers = new Set<Sleeper>();
  const clock: ManualClock = {
    isAtRest: () => true,
    origin: { rate: 1, realOriginMs: 0, startUtcMs: utcMs(startUtcMs) },
    monotonicMs: () => monotonicMs(nowMs),
    utcMs: () => utcMs(startUtcMs + nowMs),
    utcOf: (atMs) => utcMs(Math.round(startUtcMs + atMs)),
    sleepUntil: (deadlineMs: MonotonicMs, signal?: AbortSignal) =>
      new Promise((resolve, reject) => {
        if (signal?.aborted) return reject(new Error("aborted"));
        const sleeper: Sleeper = { deadlineMs, wake: resolve };
        sleepers.add(sleeper);
        signal?.addEventListener("abort", () => {
          sleepers.delete(sleeper);
          reject(new Error("aborted"));
        });
      }),
    advanceTo: async (untilMs) => {
      await settle(clock);
      for (;;) {
        const next = [...sleepers].sort((a, b) => a.deadlineMs - b.deadlineMs)[0];
        if (!next || next.deadlineMs > untilMs) break;
        sleepers.delete(next);
        nowMs = Math.max(nowMs, next.deadlineMs);
        next.wake();
        await settle(clock);
      }
      nowMs = Math.max(nowMs, untilMs);
      await settle(clock);
    },
  };
  return clock;
}

/** Lets pending promises and file operations come to rest; no time passes on the night's clock. */
async function settle(clock: ManualClock): Promise<void> {
  let calmTurns = 0;
  while (calmTurns < 4) {
    await new Promise((resolve) => setImmediate(resolve));
    calmTurns = clock.isAtRest() ? calmTurns + 1 : 0;
  }
}
