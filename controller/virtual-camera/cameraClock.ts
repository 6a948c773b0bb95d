import { utcMs, type MonotonicMs, type UtcMs } from "../../core/units.ts";
import type { Clock } from "../timing/clock.ts";

/** The camera's own clock: the night's, wrong by an offset that grows. */
export type CameraClock = {
  /** What the camera believes the time to be, as UTC. */
  utcOf(atMs: MonotonicMs): UtcMs;
  /** Sets it right, or wrong: from now on it says `wanted` for this moment. */
  set(wanted: UtcMs, atMs: MonotonicMs): void;
};

/**
 * @param driftSeconds  Camera minus true time when the night's clock is at its start.
 * @param gainSecondsPerDay  How much it gains a day; below 0 it loses.
 */
export function createCameraClock(
  clock: Clock,
  driftSeconds: number,
  gainSecondsPerDay: number,
): CameraClock {
  const gainPerMs = gainSecondsPerDay / 86_400;
  let setAtMs = clock.monotonicMs() as number;
  let offsetMs = driftSeconds * 1000;
  const offsetAt = (atMs: MonotonicMs): number => offsetMs + (atMs - setAtMs) * gainPerMs;
  return {
    utcOf: (atMs) => utcMs(Math.round(clock.utcOf(atMs) + offsetAt(atMs))),
    set: (wanted, atMs) => {
      offsetMs = wanted - clock.utcOf(atMs);
      setAtMs = atMs;
    },
  };
}
