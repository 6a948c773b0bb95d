import { spawn, type ChildProcess, type SpawnOptions } from "node:child_process";
import { fileURLToPath } from "node:url";
import { codeFile, IS_COMPILED } from "../ownFiles.ts";

/** The words that run one of the program's own files, with nothing taken from where they are said. */
export function ownCommand(file: URL): readonly string[] {
  const loader = IS_COMPILED ? [] : ["--import", import.meta.resolve("tsx")];
  return [process.execPath, ...loader, fileURLToPath(codeFile(file))];
}

/**
 * Starts one of the program's own files in a process of its own.
 *
 * @param file  URL of its source file, as in `new URL("./x.ts", import.meta.url)`.
 * @param options.stdio  With `"ipc"` among them, the two exchange messages.
 */
export function startProcess(
  file: URL,
  args: readonly string[],
  options: SpawnOptions,
): ChildProcess {
  const [program, ...words] = ownCommand(file);
  return spawn(program!, [...words, ...args], {
    ...options,
    // Windows would open a window for a process that does not share its parent's.
    windowsHide: true,
  });
}
