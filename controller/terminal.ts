/** Where a long-running command prints, for as long as somebody reads it. */
export type Terminal = {
  /** Prints a line; once nobody reads any more, does nothing. */
  print(line: string): void;
  /** Calls back once, with why, when the terminal is lost; at once if it is already. */
  onLost(listener: (why: string) => void): void;
};

type Output = Pick<NodeJS.WriteStream, "write" | "on">;

/**
 * The terminal of a command that outlives it: a closed window or a reader that is gone ends the
 * printing and nothing else. Writing fails with EPIPE then, and after SIGHUP with EIO.
 *
 * @param onHangUp  Registers what happens on SIGHUP, which would otherwise end the process.
 */
export function openTerminal(
  { stdout, stderr }: { readonly stdout: Output; readonly stderr: Output },
  onHangUp: (listener: () => void) => void,
): Terminal {
  let lost: string | null = null;
  const listeners: ((why: string) => void)[] = [];
  const lose = (why: string): void => {
    if (lost !== null) return;
    lost = why;
    for (const listener of listeners.splice(0)) listener(why);
  };
  const failed = (error: NodeJS.ErrnoException): void =>
    lose(`what is printed is not read any more (${error.code ?? error.message})`);
  stdout.on("error", failed);
  stderr.on("error", failed);
  onHangUp(() => lose("its window was closed (SIGHUP)"));
  return {
    print: (line) => {
      if (lost === null) stdout.write(`${line}\n`);
    },
    onLost: (listener) => {
      if (lost === null) listeners.push(listener);
      else listener(lost);
    },
  };
}
