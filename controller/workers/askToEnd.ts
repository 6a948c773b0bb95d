import type { ChildProcess } from "node:child_process";

/**
 * Asks a process of our own to end in order.
 *
 * By a signal; but on Windows a signal ends a process on the spot, so there the line to it is closed
 * instead: its message channel, or the standard input that it listens to. The caller sees to
 * it that it ends on either.
 */
export function askToEnd(
  child: Pick<ChildProcess, "kill" | "connected" | "disconnect" | "stdin">,
  platform: NodeJS.Platform = process.platform,
): void {
  if (platform !== "win32") child.kill("SIGTERM");
  else if (child.connected) child.disconnect();
  else child.stdin?.end();
}
