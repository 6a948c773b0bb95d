import { parentPort, workerData } from "node:worker_threads";

import { asNightError } from "../../core/errors.ts";
import { lightTable, startToneResponse } from "../../core/photometry/response.ts";
import { findStars } from "../../core/photometry/starWidth.ts";
import { detectionsOf } from "../../core/pointing/detection.ts";
import { framingStarsOf, type FramingStars } from "../../core/pointing/framingStars.ts";
import { solvePointing } from "../../core/pointing/solvePointing.ts";
import { starTable } from "../../core/pointing/starsAbove.ts";
import { pointingWords } from "../../core/words/pointingWords.ts";
import { decodePixels } from "../metering/decodePreview.ts";
import { opticsOf } from "../../core/photometry/optics.ts";
import { frameKitOf } from "../frameKit.ts";
import type { PointingJob, PointingReport } from "./pointingMessages.ts";

// The thread that asks one frame's stars: a cold start may take a second, and nothing may wait for it.

/** Wide enough for stars to be measured, small enough to be read in a tenth of a second. */
const WIDTH_PX_MAX = 1600;

async function askStars(job: PointingJob): Promise<FramingStars> {
  const { jpeg, place, utcMs } = job;
  const picture = await decodePixels(jpeg, WIDTH_PX_MAX);
  const { widthPx, heightPx, fileWidthPx, fileHeightPx } = picture;
  const facts = await frameKitOf(jpeg);
  const size = { uprightWidthPx: fileWidthPx, uprightHeightPx: fileHeightPx };
  const optics = opticsOf(job.optics, { ...facts, ...size }, null);
  const field = findStars(picture, { table: lightTable(startToneResponse()), stampRadiusMax: 14 });
  const sky = { table: starTable(), place, utcMs };
  const detections = detectionsOf(field);
  const reported = (optics.focalLengthMm / optics.acrossMm) * widthPx;
  const first = solvePointing(detections, sky, { widthPx, heightPx, pxPerRad: reported });
  // A lens that is not what the settings say, or a preview smaller than the sensor, is found without them.
  const verdict =
    first.kind === "unsolved" && first.why === "noMatch"
      ? solvePointing(detections, sky, { widthPx, heightPx, pxPerRad: null })
      : first;
  if (verdict.kind === "unsolved") {
    return { kind: "unknown", sentence: pointingWords[verdict.why] };
  }
  return framingStarsOf({
    ...{ pointing: verdict.pointing, place, utcMs, optics },
  });
}

const tell = (report: PointingReport): void => parentPort?.postMessage(report);
askStars(workerData as PointingJob).then(
  (stars) => tell({ kind: "done", stars }),
  (thrown: unknown) => tell({ kind: "failed", sentence: asNightError(thrown).message }),
);
