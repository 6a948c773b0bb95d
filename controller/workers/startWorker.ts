import { Worker, type WorkerOptions } from "node:worker_threads";
import { codeFile, IS_COMPILED } from "../ownFiles.ts";

/**
 * Starts a worker thread from one of the program's own files.
 *
 * Node 20 does not hand the `--import tsx` of the main thread on to its workers, so in a clone a
 * two-line script registers the loader in the new thread before it imports the file.
 *
 * @param file  URL of the worker's own source file, as in `new URL("./x.ts", import.meta.url)`.
 */
export function startWorker(file: URL, options: WorkerOptions = {}): Worker {
  if (IS_COMPILED) return new Worker(codeFile(file), options);
  const loader = import.meta.resolve("tsx/esm/api");
  const script = `import { register } from ${JSON.stringify(loader)};
register();
await import(${JSON.stringify(file.href)});`;
  return new Worker(new URL(`data:text/javascript,${encodeURIComponent(script)}`), options);
}
