import { execFileSync } from "node:child_process";
import { readlinkSync } from "node:fs";
import { setPriority } from "node:os";
import { basename } from "node:path";
import { platform } from "node:process";

/** Ahead of ordinary work, behind the system's own. */
const NICENESS = -10;
/** The lowest real-time priority is already ahead of everything that is not real-time. */
const REAL_TIME_PRIORITY = "1";
const CHRT_MS_MAX = 2_000;

/**
 * Asks the system to wake the calling thread at once when its time has come, whatever else runs.
 *
 * A better niceness gives a thread more time but no quicker wake-up: beside busy programs it was
 * woken up to 50 ms late all the same (Linux 6.18, two processors). Real-time scheduling is what
 * helps there. Both need a right that an ordinary user may not have; without it nothing changes,
 * and the timing rests on the scheduler's fairness.
 */
export function askForPriority(): void {
  // Elsewhere it would concern the whole process, or be no question of threads.
  if (platform !== "linux") return;
  if (!becomeRealTime()) becomeLessNice();
}

/** By a command of util-linux, since Node offers no call for it. */
function becomeRealTime(): boolean {
  try {
    const threadId = basename(readlinkSync("/proc/thread-self"));
    const args = ["--rr", "--reset-on-fork", "--pid", REAL_TIME_PRIORITY, threadId];
    execFileSync("chrt", args, { stdio: "ignore", timeout: CHRT_MS_MAX });
    return true;
  } catch {
    // No such command, or no right to it.
    return false;
  }
}

function becomeLessNice(): void {
  try {
    setPriority(NICENESS);
  } catch {
    // No right to it either.
  }
}
