import type { FramingStars } from "../../core/pointing/framingStars.ts";
import { startWorker } from "../workers/startWorker.ts";
import type { PointingJob, PointingReport } from "./pointingMessages.ts";

/** A frame whose stars are not found by then stays without, real milliseconds. */
const PATIENCE_MS = 120_000;

/**
 * Asks a frame's stars where it points, in a thread of its own.
 *
 * @returns `unknown` with a sentence when they do not tell; never rejects.
 */
export function askStars(job: PointingJob): Promise<FramingStars> {
  return new Promise((resolve) => {
    const worker = startWorker(new URL("./pointingWorker.ts", import.meta.url), {
      workerData: job,
    });
    const answer = (stars: FramingStars): void => {
      clearTimeout(patience);
      resolve(stars);
      void worker.terminate();
    };
    const give = (sentence: string): void => answer({ kind: "unknown", sentence });
    const patience = setTimeout(
      () => give("The stars were not found in time; take another test frame."),
      PATIENCE_MS,
    );
    worker.on("message", (report: PointingReport) =>
      report.kind === "done" ? answer(report.stars) : give(report.sentence),
    );
    worker.on("error", (error) => give(error.message));
  });
}
