import type { MomentWait } from "../../controller/timing/preciseWait.ts";

/** Waiting by the event loop's timers alone, as a program without a timing thread would. */
export function plainTimerWait(): MomentWait {
  return { handOverMs: 0, blockUntil: () => undefined };
}
