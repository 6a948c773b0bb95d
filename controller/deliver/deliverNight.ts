import { access, constants, mkdir, rm } from "node:fs/promises";
import { join } from "node:path";
import type {
  DeliverOrder,
  DeliverProgress,
  DeliverResult,
  DeliveredFile,
} from "../../core/api/deliverMessages.ts";
import { NightError } from "../../core/errors.ts";
import { deflicker } from "../../core/frames/deflicker.ts";
import { archiveError } from "../archive/archiveError.ts";
import { Catalogue } from "../archive/catalogue.ts";
import { writeWhole } from "../archive/frameFiles.ts";
import { UNITS, deliverSet, unitsOf, type ReadySet } from "./deliverSet.ts";
import { makeContactSheet, makeKeogram, makeReport, writeSidecars } from "./deliverWorks.ts";
import { FramePool } from "./framePool.ts";
import { beginManifest, finishManifest } from "./manifest.ts";
import { checkOneSize, measureNight, type MeasuredNight } from "./measureNight.ts";
import {
  chooseSets,
  keyOf,
  readNight,
  type NightToDeliver,
  type SetToDeliver,
} from "./nightToDeliver.ts";
import { ProgressCounter } from "./progress.ts";

export type DeliverOptions = {
  readonly nightDir: string;
  readonly outDir: string;
  readonly order: DeliverOrder;
  readonly onProgress: (progress: DeliverProgress) => void;
  readonly signal: AbortSignal;
};

/**
 * Makes of a night what was ordered: deflickered sequences, videos, star trails, a keogram, a
 * contact sheet, a report. The night itself is only read, apart from the measures that its
 * catalogue keeps and XMP files beside raw ones.
 *
 * @throws NightError: `archive.*` for a night or a target that cannot be used, `deliver.failed`.
 */
export async function deliverNight(options: DeliverOptions): Promise<DeliverResult> {
  const { catalogue, canWrite } = await openNight(options.nightDir);
  const pool = new FramePool();
  try {
    const night = readNight(catalogue);
    const chosen = chooseSets(night, options.order);
    await makeTarget(options.outDir);
    return await deliverSets({ ...options, night, chosen, pool, canWrite });
  } finally {
    await pool.close();
    catalogue.close();
  }
}

async function openNight(nightDir: string): Promise<{ catalogue: Catalogue; canWrite: boolean }> {
  const canWrite = await access(nightDir, constants.W_OK).then(
    () => true,
    () => false,
  );
  return { catalogue: Catalogue.open(nightDir, { readOnly: !canWrite }), canWrite };
}

async function makeTarget(outDir: string): Promise<void> {
  try {
    await mkdir(outDir, { recursive: true });
    const probe = join(outDir, ".probe");
    await writeWhole(probe, "");
    await rm(probe, { force: true });
  } catch (thrown) {
    throw archiveError(thrown, outDir);
  }
}

type Delivery = DeliverOptions & {
  readonly night: NightToDeliver;
  readonly chosen: readonly SetToDeliver[];
  readonly pool: FramePool;
  readonly canWrite: boolean;
};

async function deliverSets(delivery: Delivery): Promise<DeliverResult> {
  const { night, chosen, pool, order, outDir, signal } = delivery;
  const all = chosen.flatMap(({ frames }) => frames);
  const progress = new ProgressCounter(unitsOf(order, all.length), delivery.onProgress);
  let doneCount = 0;
  const measured = await measureNight(all, night.catalogue, pool, {
    canWrite: delivery.canWrite,
    signal,
    onFrame: (isGiven) => {
      doneCount += 1;
      const at = {
        stage: "measuring",
        label: "frames",
        doneCount,
        totalCount: all.length,
      } as const;
      progress.step(at, UNITS.measure, isGiven);
    },
  });
  for (const { set, frames } of chosen) checkOneSize(frames, measured, set.name);
  const ready = chosen.map((one) => readySet(one, measured)).filter((one) => one.frames.length > 0);
  if (ready.length === 0) {
    throw new NightError(
      "deliver.failed",
      `None of the frames can be used: ${measured.remarks[0] ?? "they are gone"}`,
    );
  }
  const isResumed = await beginManifest(outDir, order, ready);
  const files: DeliveredFile[] = [];
  for (const set of ready) {
    files.push(...(await deliverSet({ ...delivery, progress, isResumed }, set)));
  }
  const works = { night, ready, measured, outDir };
  if (delivery.canWrite) await writeSidecars(works, order.sidecars);
  if (order.keogram) files.push(...(await makeKeogram(works)));
  if (order.contactSheet) files.push(await makeContactSheet(works));
  const result = { outDir, files, remarks: measured.remarks };
  if (order.report) files.push(await makeReport(works, result));
  const last = { stage: "report", label: "done", doneCount: 1, totalCount: 1 } as const;
  progress.step(last, unitsOf(order, all.length));
  await finishManifest(outDir);
  return { ...result, files };
}

function readySet(one: SetToDeliver, measured: MeasuredNight): ReadySet {
  const frames = one.frames.filter((frame) => measured.frames.has(keyOf(frame)));
  const corrections = deflicker(
    frames.map((frame, n) => {
      const exposure = frame.happened ?? frame.ordered;
      const opened = frame.openedUtcMs ?? n * 1000;
      return {
        atSeconds: opened / 1000 + exposure.exposureSeconds / 2,
        exposure,
        cellStops: measured.frames
          .get(keyOf(frame))!
          .measure.cellStops.map((stops) => stops ?? NaN),
      };
    }),
  );
  const first = frames[0] === undefined ? undefined : measured.frames.get(keyOf(frames[0]));
  const picture = first?.measure ?? { widthPx: 0, heightPx: 0 };
  const slug = one.set.setId.replace(/[^\w-]+/g, "-");
  return { ...one, frames, corrections, picture, slug };
}
