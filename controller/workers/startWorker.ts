import { Worker, type WorkerOptions } from "node:worker_threads";

/**
 * Starts a worker thread from a TypeScript file.
 *
 * Node 20 does not hand the `--import tsx` of the main thread on to its workers, so a two-line
 * script registers the loader in the new thread before it imports the file.
 *
 * @param file  URL of the worker's own source file, as in `new URL("./x.ts", import.meta.url)`.
 */
export function startWorker(file: URL, options: WorkerOptions = {}): Worker {
  const loader = import.meta.resolve("tsx/esm/api");
  const script = `import { register } from ${JSON.stringify(loader)};
register();
await import(${JSON.stringify(file.href)});`;
  return new Worker(new URL(`data:text/javascript,${encodeURIComponent(script)}`), options);
}
