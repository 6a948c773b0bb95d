import { execFileSync } from "node:child_process";
import { readlinkSync } from "node:fs";
import { setPriority } from "node:os";
import { basename } from "node:path";
import type { Scheduling } from "../../core/words/timingWords.ts";

/** Ahead of ordinary work, behind the system's own. */
const NICENESS = -10;
/** The lowest real-time priority is already ahead of everything that is not real-time. */
const REAL_TIME_PRIORITY = "1";
const CHRT_MS_MAX = 2_000;

/** What asking needs of the system; tests put their own in its place. */
export type SchedulingSystem = {
  readonly platform: NodeJS.Platform;
  /** Each throws where the user has no right to it, or the system no such thing. */
  readonly becomeRealTime: () => void;
  readonly becomeLessNice: () => void;
};

const THIS_SYSTEM: SchedulingSystem = {
  platform: process.platform,
  // By a command of util-linux, since Node offers no call for it.
  becomeRealTime: () => {
    const threadId = basename(readlinkSync("/proc/thread-self"));
    const args = ["--rr", "--reset-on-fork", "--pid", REAL_TIME_PRIORITY, threadId];
    execFileSync("chrt", args, { stdio: "ignore", timeout: CHRT_MS_MAX });
  },
  becomeLessNice: () => setPriority(NICENESS),
};

/**
 * Asks the system to wake the calling thread at once when its time has come, whatever else runs.
 *
 * A better niceness gives a thread more time but no quicker wake-up: beside busy programs it was
 * woken up to 50 ms late all the same (Linux 6.18, two processors). Real-time scheduling is what
 * helps there. Both need a right that an ordinary user may not have; without it nothing changes,
 * and the timing rests on the scheduler's fairness. Shorter turns, which anyone may ask for, gained
 * nothing (0.1 ms beside the usual length); a heavier group of processes did, and the service has it.
 *
 * @returns what was granted.
 */
export function askForPriority(system: SchedulingSystem = THIS_SYSTEM): Scheduling {
  // Elsewhere it would concern the whole process, or be no question of threads.
  if (system.platform !== "linux") return "notOffered";
  if (isGranted(system.becomeRealTime)) return "realTime";
  return isGranted(system.becomeLessNice) ? "ahead" : "ordinary";
}

function isGranted(ask: () => void): boolean {
  try {
    ask();
    return true;
  } catch {
    // No right to it, or no such thing: the next best is asked for.
    return false;
  }
}
