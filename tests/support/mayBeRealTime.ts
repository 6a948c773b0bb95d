import { spawnSync } from "node:child_process";

/** Whether this user may give a thread real-time scheduling, as a command of the system's own says. */
export function mayBeRealTime(): boolean {
  return process.platform === "linux" && spawnSync("chrt", ["--rr", "1", "true"]).status === 0;
}
