/**
 * How the system wakes the timing thread: at once; with more time than others, but no sooner; like
 * any other; or it has no such thing that could be asked for.
 */
export type Scheduling = "realTime" | "ahead" | "ordinary" | "notOffered";

const ADVICE = {
  realTime:
    "The timing thread has real-time scheduling already, so something else holds the computer up: end other programs.",
  ordinary:
    "Run Nattvakt as a service or let an administrator allow it real-time scheduling (README, With the computer), or end other programs.",
  notOffered: "This system gives one program no precedence: end other programs.",
} as const;

function adviceFor(scheduling: Scheduling): string {
  return ADVICE[scheduling === "ahead" ? "ordinary" : scheduling];
}

export const timingWords = {
  /** What a person reads about the timing thread's scheduling, and what they can do about it. */
  scheduling: (scheduling: Scheduling) =>
    scheduling === "realTime"
      ? "The shutter is timed with real-time scheduling."
      : `The shutter is timed without real-time scheduling, tens of milliseconds late on a busy computer. ${adviceFor(scheduling)}`,
  /** @param lateMs  Reached or passed by one frame in ten. */
  closesLate: (lateMs: number, scheduling: Scheduling) =>
    `The shutter closes late on this busy computer: ${lateMs} ms or more in one frame of ten. ` +
    `A frame of 1 s comes out ${Math.round(lateMs / 10)} % brighter then; long ones hardly show it. ` +
    `Frames go on, and the length that each really had is written down. ${adviceFor(scheduling)}`,
} as const;
