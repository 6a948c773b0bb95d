// A program under a service manager whose timing thread hangs after its first beats; its main thread
// goes on as if nothing were wrong.
import { isMainThread, threadId } from "node:worker_threads";
import { beatForWatchdog, serviceManager } from "../../controller/service/manager.ts";
import { startWorker } from "../../controller/workers/startWorker.ts";

if (isMainThread) {
  serviceManager().ready();
  startWorker(new URL(import.meta.url));
} else {
  beatForWatchdog(process.env, threadId);
  setTimeout(() => Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0), 1_000);
}
