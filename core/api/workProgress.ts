/** How far long work is, as the page and the command line tell it. */
export type WorkProgress = {
  /** What is being done, as in "film h264 of Set 1". */
  readonly label: string;
  /** Of what the label names: frames, files. */
  readonly doneCount: number;
  readonly totalCount: number;
  /** Share of the whole work, 0..1. */
  readonly share: number;
  /** null until it can be known. */
  readonly secondsLeft: number | null;
};

/** How a piece of work stands, its end included. */
export const JOB_STATES = ["running", "finished", "cancelled", "failed"] as const;
export type JobState = (typeof JOB_STATES)[number];
