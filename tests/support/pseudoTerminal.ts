import { spawn } from "node:child_process";
import { createInterface } from "node:readline";
import { onTestFinished } from "vitest";

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
