/** How late the shutter closed of late, real milliseconds. */
export type LatenessTrack = {
  /** Of the latest frames that this computer timed, newest last. */
  readonly latestMs: readonly number[];
  /** The figure that the note names; null: there is no note. */
  readonly reportedMs: number | null;
};

export const NOT_LATE: LatenessTrack = { latestMs: [], reportedMs: null };
