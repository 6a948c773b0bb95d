import { parentPort, workerData } from "node:worker_threads";

import { asNightError } from "../../core/errors.ts";
import { rehearseTonight } from "../../core/rehearsal/tonight.ts";
import type { TonightJob, TonightReport } from "./tonightRehearsals.ts";

// The thread of one rehearsal: a hundred skies take seconds, and nothing else may wait for them.
const job = workerData as TonightJob;
const tell = (report: TonightReport): void => parentPort?.postMessage(report);
try {
  const result = rehearseTonight({
    ...job,
    onProgress: (doneCount) => tell({ kind: "progress", doneCount }),
  });
  tell({ kind: "done", result });
} catch (thrown) {
  tell({ kind: "failed", sentence: asNightError(thrown).message });
}
