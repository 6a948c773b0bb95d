import type { MonotonicMs } from "../units.ts";
import { clearGuard, raiseGuard } from "../watch/guardNotice.ts";
import type { WatchState } from "../watch/state.ts";

/** A clock that is off by more than this misplaces frames among others. Common practice, no source. */
const CLOCK_OFFSET_MAX_MS = 2_000;

/**
 * The camera's clock against the best time there is: GNSS where a receiver has been heard, else
 * this computer's.
 */
export function guardClock(state: WatchState, atMs: MonotonicMs): WatchState {
  const { cameraLessOursMs, oursLessGnssMs } = state.clocks;
  const offsetMs = cameraLessOursMs === null ? null : cameraLessOursMs + (oursLessGnssMs ?? 0);
  if (offsetMs === null || Math.abs(offsetMs) <= CLOCK_OFFSET_MAX_MS) {
    return clearGuard(state, "clock");
  }
  const side = offsetMs > 0 ? "ahead of" : "behind";
  const whom = oursLessGnssMs === null ? "this computer's" : "GNSS time";
  return raiseGuard(state, atMs, {
    guard: "clock",
    level: "note",
    sentence: `The camera's clock is ${Math.round(Math.abs(offsetMs) / 1000)} s ${side} ${whom}. The offset is written down and frames are matched by it; --set-camera-clock sets the clock.`,
  });
}
