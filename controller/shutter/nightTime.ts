import { monotonicMs, type MonotonicMs } from "../../core/units.ts";
import type { ClockOrigin } from "../timing/clock.ts";

/** Real time (as `realMs()` counts) of a moment of the night. */
export function realOf(nightMs: MonotonicMs, origin: ClockOrigin): number {
  return origin.realOriginMs + nightMs / origin.rate;
}

/** The night's time at a real moment. */
export function nightOf(atMs: number, origin: ClockOrigin): MonotonicMs {
  return monotonicMs((atMs - origin.realOriginMs) * origin.rate);
}
