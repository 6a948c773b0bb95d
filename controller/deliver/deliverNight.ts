import { access, constants, mkdir, rm } from "node:fs/promises";
import { join } from "node:path";
import type {
  DeliverOrder,
  DeliverProgress,
  DeliverResult,
  DeliveredFile,
} from "../../core/api/deliverMessages.ts";
import { NightError } from "../../core/errors.ts";
import { filmTimes, type TimeRemark } from "../../core/frames/filmTimes.ts";
import { deflicker } from "../../core/frames/deflicker.ts";
import { archiveError } from "../archive/archiveError.ts";
import { Catalogue } from "../archive/catalogue.ts";
import { writeDurably } from "../durableWrite.ts";
import { keyOf } from "../archive/frameKey.ts";
import { clearSet, deliverSet } from "./deliverSet.ts";
import { type ReadySet } from "./readySet.ts";
import { UNITS, unitsOf, type DeliveryProgress, type DeliveryStep } from "./deliveryUnits.ts";
import { makeContactSheet, makeKeogram, makeReport, writeSidecars } from "./deliverWorks.ts";
import { FramePool } from "./framePool.ts";
import { beginManifest, finishManifest, isGoneOnWith } from "./manifest.ts";
import { checkOneSize, measureNight, type MeasuredNight } from "./measureNight.ts";
import { chooseSets, readNight, type NightToDeliver, type SetToDeliver } from "./nightToDeliver.ts";
import { ProgressCounter } from "./progress.ts";

type DeliverOptions = {
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
    await writeDurably(probe, "");
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
  const { chosen, order, outDir } = delivery;
  const frameCount = chosen.reduce((sum, { frames }) => sum + frames.length, 0);
  const units = unitsOf(order, frameCount);
  const progress: DeliveryProgress = new ProgressCounter<DeliveryStep>(units, delivery.onProgress);
  const measured = await measureAll(delivery, progress);
  const ready = readySets(chosen, measured);
  const isResumed = isGoneOnWith(outDir, order, ready);
  if (!isResumed) for (const set of ready) await clearSet(delivery, set);
  await beginManifest(outDir, order, ready);
  const files: DeliveredFile[] = [];
  for (const set of ready) {
    files.push(...(await deliverSet({ ...delivery, progress, isResumed }, set)));
  }
  const result = await deliverWorks(delivery, { ready, measured, files, progress });
  const last = { stage: "report", label: "done", doneCount: 1, totalCount: 1 } as const;
  progress.step(last, units);
  await finishManifest(outDir);
  return result;
}

async function measureAll(
  { night, chosen, pool, canWrite, signal }: Delivery,
  progress: DeliveryProgress,
): Promise<MeasuredNight> {
  const all = chosen.flatMap(({ frames }) => frames);
  let doneCount = 0;
  const onFrame = (from: "catalogue" | "file"): void => {
    doneCount += 1;
    const at = { stage: "measuring", label: "measuring frames", doneCount } as const;
    progress.step({ ...at, totalCount: all.length }, UNITS.measure, from === "catalogue");
  };
  return measureNight(all, night.catalogue, pool, { canWrite, signal, onFrame });
}

/** @throws NightError `deliver.failed` when frames of a set differ in size, or none can be used. */
function readySets(chosen: readonly SetToDeliver[], measured: MeasuredNight): readonly ReadySet[] {
  for (const { set, frames } of chosen) checkOneSize(frames, measured, set.name);
  const ready = chosen.map((one) => readySet(one, measured)).filter((one) => one.frames.length > 0);
  if (ready.length > 0) return ready;
  throw new NightError(
    "deliver.failed",
    `None of the frames can be used: ${measured.remarks[0] ?? "they are gone"}`,
  );
}

/** What is made of all sets together: sidecars, keogram, contact sheet, report. */
async function deliverWorks(
  { night, order, outDir, canWrite, signal }: Delivery,
  made: {
    readonly ready: readonly ReadySet[];
    readonly measured: MeasuredNight;
    readonly files: readonly DeliveredFile[];
    readonly progress: DeliveryProgress;
  },
): Promise<DeliverResult> {
  const { ready, measured, progress } = made;
  const works = { night, ready, measured, outDir };
  const remarks = [...measured.remarks, ...ready.flatMap(({ timeRemarks }) => timeRemarks)];
  const files = [...made.files];
  if (canWrite) await writeSidecars(works, order.sidecars);
  const makers: readonly Maker[] = [
    { stage: "keogram", label: "keogram", make: () => makeKeogram(works) },
    { stage: "contactSheet", label: "contact sheet", make: () => makeContactSheet(works) },
    { stage: "report", label: "report", make: () => makeReport(works, { outDir, files, remarks }) },
  ];
  const totalCount = ready.reduce((sum, { frames }) => sum + frames.length, 0);
  for (const { stage, label, make } of makers.filter((one) => order[one.stage])) {
    signal.throwIfAborted();
    progress.step({ stage, label, doneCount: 0, totalCount }, 0);
    files.push(...(await make()));
    progress.step({ stage, label, doneCount: totalCount, totalCount }, totalCount * UNITS.extra);
  }
  return { outDir, files, remarks };
}

type Maker = {
  readonly stage: "keogram" | "contactSheet" | "report";
  readonly label: string;
  readonly make: () => Promise<readonly DeliveredFile[]>;
};

const TIME_REMARKS: Readonly<Record<TimeRemark["kind"], (frameIndex: number) => string>> = {
  noTime: (frame) => `Frame ${frame} has no opening time; it is set between its neighbours.`,
  backwards: (frame) =>
    `Frame ${frame} was taken before the frame ahead of it, by the clock; that clock was set back.`,
  longPause: (frame) =>
    `Frame ${frame} was taken more than half a day after the frame ahead of it, by the clock.`,
};

function readySet(one: SetToDeliver, measured: MeasuredNight): ReadySet {
  const frames = one.frames.filter((frame) => measured.frames.has(keyOf(frame)));
  const times = filmTimes(frames.map(({ openedUtcMs }) => openedUtcMs));
  const corrections = deflicker(
    frames.map((frame, n) => {
      const exposure = frame.happened ?? frame.ordered;
      const { cellStops, highlightRoomStops } = measured.frames.get(keyOf(frame))!.measure;
      return {
        atSeconds: times.seconds[n]! + exposure.exposureSeconds / 2,
        exposure,
        cellStops: cellStops.map((stops) => stops ?? NaN),
        highlightRoomStops,
      };
    }),
  );
  const first = frames[0] === undefined ? undefined : measured.frames.get(keyOf(frames[0]));
  const picture = first?.measure ?? { widthPx: 0, heightPx: 0 };
  const slug = one.set.setId.replace(/[^\w-]+/g, "-");
  const timeRemarks = times.remarks.map(
    ({ position, kind }) =>
      `${TIME_REMARKS[kind](frames[position]!.frameIndex)} The film plays it in its place.`,
  );
  return { ...one, frames, corrections, picture, slug, timeRemarks };
}
