import { spawn } from "node:child_process";
import { rmSync, symlinkSync } from "node:fs";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { onTestFinished } from "vitest";
import { temporaryFolder } from "./temporaryFolder.ts";

/** A pair of the kernel's own: what is written here comes out of `path` as from a serial line. */
export type PseudoTerminal = {
  readonly path: string;
  write(text: string): void;
  /** The line is gone, as a pulled adapter's is. */
  unplug(): void;
};

const SCRIPT = `
import os, pty, sys, tty
main, other = pty.openpty()
tty.setraw(other)
print(os.ttyname(other), flush=True)
for line in sys.stdin:
    os.write(main, line.encode())
`;

/** Needs python3. */
export async function openPseudoTerminal(): Promise<PseudoTerminal> {
  const child = spawn("python3", ["-c", SCRIPT], { stdio: ["pipe", "pipe", "inherit"] });
  onTestFinished(() => void child.kill());
  const path = await new Promise<string>((resolve) => {
    createInterface({ input: child.stdout }).once("line", resolve);
  });
  return {
    path,
    write: (text) => child.stdin.write(text),
    unplug: () => void child.kill(),
  };
}

/** A line that keeps its path when it is pulled and plugged in again, as the system's links do. */
export type PluggableLine = PseudoTerminal & { plug(): Promise<void> };

export async function openPluggableLine(): Promise<PluggableLine> {
  const path = join(temporaryFolder(), "line");
  let terminal: PseudoTerminal | null = null;
  const line: PluggableLine = {
    path,
    write: (text) => terminal?.write(text),
    unplug: () => {
      terminal?.unplug();
      terminal = null;
      rmSync(path, { force: true });
    },
    plug: async () => {
      terminal = await openPseudoTerminal();
      symlinkSync(terminal.path, path);
    },
  };
  await line.plug();
  return line;
}
