import { spawn, type ChildProcess } from "node:child_process";
import { fileURLToPath } from "node:url";

const ROOT = fileURLToPath(new URL("../../", import.meta.url));

/** A command of the program, running as a user would run it. */
export type Program = {
  readonly child: ChildProcess;
  /** Everything printed so far, both streams. */
  readonly printed: () => string;
  /** Resolves with the first match once something like it has been printed. */
  readonly prints: (pattern: RegExp, withinMs?: number) => Promise<RegExpExecArray>;
  /** Resolves with the exit code. */
  readonly ended: Promise<number | null>;
};

/** Starts `file` (below the root) with arguments. */
export function startProgram(file: string, args: readonly string[]): Program {
  return startCommand(process.execPath, ["--import", "tsx", file, ...args], { cwd: ROOT });
}

/** Starts any other command, and watches it in the same way. */
export function startCommand(
  command: string,
  args: readonly string[],
  options: { readonly cwd: string; readonly env?: NodeJS.ProcessEnv },
): Program {
  const child = spawn(command, args, { ...options, stdio: ["ignore", "pipe", "pipe"] });
  let text = "";
  const waiting = new Set<() => void>();
  for (const stream of [child.stdout, child.stderr]) {
    stream.setEncoding("utf8");
    stream.on("data", (chunk: string) => {
      text += chunk;
      for (const look of waiting) look();
    });
  }
  const ended = new Promise<number | null>((resolve) => child.once("exit", resolve));
  return {
    child,
    ended,
    printed: () => text,
    prints: (pattern, withinMs = 120_000) =>
      new Promise((resolve, reject) => {
        const finish = (act: () => void): void => {
          clearTimeout(timer);
          waiting.delete(look);
          act();
        };
        const look = (): void => {
          const match = pattern.exec(text);
          if (match) finish(() => resolve(match));
        };
        const timer = setTimeout(
          () => finish(() => reject(new Error(`nothing like ${pattern} was printed:\n${text}`))),
          withinMs,
        );
        void ended.then(() => {
          look();
          finish(() => reject(new Error(`it ended without printing ${pattern}:\n${text}`)));
        });
        waiting.add(look);
        look();
      }),
  };
}

/** Whether a process with this id is still there. */
export function isAlive(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return true;
  } catch {
    return false;
  }
}
