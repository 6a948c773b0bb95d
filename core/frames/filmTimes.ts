import { middleOf } from "../statistics.ts";
/** Something about a frame's time that a person should know. */
export type TimeRemark = {
  /** Position in the set, from 0. */
  readonly position: number;
  readonly kind: "noTime" | "backwards" | "longPause";
};

/** A longer pause counts as this long: frames so far apart have nothing to say of each other. */
const PAUSE_SECONDS_MAX = 12 * 3600;

/** Start to start where nothing is known of it, seconds. */
const STEP_SECONDS = 15;

/**
 * When the frames of a set were taken, as seconds that rise from 0, whatever the record says.
 *
 * A frame without a time stands between its neighbours; one whose time is earlier than the
 * frame before it (a clock that was set back) comes a usual step after it; a pause of months counts
 * as half a day.
 *
 * @param openedMs  In the order in which the frames play; null: not known.
 */
export function filmTimes(openedMs: readonly (number | null)[]): {
  readonly seconds: readonly number[];
  readonly remarks: readonly TimeRemark[];
} {
  const remarks: TimeRemark[] = [];
  const stepSeconds = usualStepSeconds(openedMs);
  const seconds: number[] = [];
  let [known, knownMs] = [-1, 0];
  openedMs.forEach((openMs, position) => {
    if (openMs === null || !Number.isFinite(openMs)) {
      remarks.push({ position, kind: "noTime" });
      seconds.push((seconds.at(-1) ?? -stepSeconds) + stepSeconds);
      return;
    }
    if (known >= 0) {
      const since = (openMs - knownMs) / 1000;
      const isBackwards = since <= 0;
      const isLong = since > PAUSE_SECONDS_MAX;
      if (isBackwards) remarks.push({ position, kind: "backwards" });
      if (isLong) remarks.push({ position, kind: "longPause" });
      const steps = position - known;
      const span = isBackwards ? steps * stepSeconds : isLong ? PAUSE_SECONDS_MAX : since;
      const from = seconds[known]!;
      for (let between = known + 1; between < position; between += 1) {
        seconds[between] = from + (span * (between - known)) / steps;
      }
      seconds.push(from + span);
    } else {
      seconds.push(position * stepSeconds);
    }
    [known, knownMs] = [position, openMs];
  });
  return { seconds, remarks };
}

/** Median of the steps from one known time to the next that rise. */
function usualStepSeconds(openedMs: readonly (number | null)[]): number {
  const steps: number[] = [];
  for (let n = 1; n < openedMs.length; n += 1) {
    const [before, here] = [openedMs[n - 1] ?? null, openedMs[n] ?? null];
    if (before !== null && here !== null && here > before) steps.push((here - before) / 1000);
  }
  return middleOf(steps) ?? STEP_SECONDS;
}
