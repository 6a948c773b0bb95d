import { join } from "node:path";
import type { WorkProgress } from "../../core/api/workProgress.ts";
import type { FrameFile, FrameRecord } from "../../core/watch/frameRecord.ts";
import { surgesOf } from "../../core/frames/timeline.ts";
import { NightError } from "../../core/errors.ts";
import { Catalogue } from "../archive/catalogue.ts";
import { exportNight } from "../archive/exportNight.ts";
import { findNight } from "../archive/findNight.ts";
import { DEMO_FOLDER, listNights, nightInfoOf } from "../archive/nightFolder.ts";
import { keptFiles, type FileWork } from "../archive/keptFiles.ts";
import { pruneFiles, pruneOutlook } from "../archive/pruneFiles.ts";
import { verifyNight } from "../archive/verifyNight.ts";
import { readNight } from "./nightToDeliver.ts";
import { momentOf } from "./orderFromOptions.ts";
import { ProgressCounter } from "./progress.ts";

type UpkeepOptions = {
  readonly data: string;
  readonly night: string | null;
  readonly list: boolean;
  readonly find: string | null;
  readonly from: string | null;
  readonly to: string | null;
  readonly set: string | null;
  readonly export: string | null;
  readonly verify: boolean;
  readonly prune: string | null;
  readonly yes: boolean;
  readonly print: (line: string) => void;
  readonly onProgress: (progress: WorkProgress) => void;
  readonly signal: AbortSignal;
};

/** What `deliver` does besides delivering: list, find, verify, export, prune. */
export async function runUpkeep(work: UpkeepOptions): Promise<void> {
  if (work.night === null) {
    if (!work.list) {
      throw new NightError("usage.invalid", "NIGHT is needed; --list alone shows the nights");
    }
    printNights(work);
    return;
  }
  const nightDir = findNight(work.data, work.night);
  const catalogue = Catalogue.open(nightDir, { readOnly: work.prune === null });
  try {
    if (work.list) printSets(catalogue, work);
    if (work.find !== null) printFound(catalogue, work, work.find);
    if (work.verify) await verify(catalogue, work);
    if (work.export !== null) await exportTo(catalogue, work, work.export);
    if (work.prune !== null) await prune(catalogue, work, work.prune);
  } finally {
    catalogue.close();
  }
}

function printNights({ data, print }: UpkeepOptions): void {
  const real = listNights(data);
  const ofDemo = listNights(join(data, DEMO_FOLDER));
  if (real.length + ofDemo.length === 0) print("no nights yet");
  for (const night of [...real, ...ofDemo]) {
    const rest = night.problem ?? `${night.frameCount} frames, ${night.placeName}`;
    const mark = ofDemo.includes(night) ? " (of the demo)" : "";
    print(`${night.nightId}${mark}: ${rest}`);
  }
}

function printSets(catalogue: Catalogue, { print }: UpkeepOptions): void {
  const { sets } = readNight(catalogue);
  if (sets.length === 0) print("no frame was kept");
  for (const set of sets) {
    const span = [set.startUtcMs, set.endUtcMs].map((at) => (at === null ? "?" : clock(at)));
    print(
      `${set.setId}: ${set.name}, ${set.frameCount} frames, ${span.join(" to ")} UT, ` +
        `frames ${set.inFrameIndex} to ${set.outFrameIndex}, began by ${set.beganBy}`,
    );
  }
}

function printFound(catalogue: Catalogue, work: UpkeepOptions, words: string): void {
  const start = nightInfoOf(catalogue)?.startUtcMs ?? 0;
  const fromUtcMs = momentOf("from", work.from, start) ?? -Infinity;
  const toUtcMs = momentOf("to", work.to, start) ?? Infinity;
  const found = findFrames(catalogue, words).filter(
    ({ openedUtcMs: at }) => at !== null && at >= fromUtcMs && at <= toUtcMs,
  );
  for (const frame of found) {
    const luminance = frame.reading?.skyLuminanceCdM2;
    const sky = luminance === undefined ? "not metered" : `${luminance.toPrecision(3)} cd/m²`;
    work.print(`${frame.cameraId} ${frame.frameIndex}  ${clock(frame.openedUtcMs!)} UT  ${sky}`);
  }
  work.print(`${found.length} frames`);
}

/** @throws NightError `usage.invalid` for words that are no search. */
export function findFrames(catalogue: Catalogue, words: string): readonly FrameRecord[] {
  const [what = "", value = ""] = words.trim().split(/\s+/);
  if (what === "all") return catalogue.find({});
  if (what === "surge") return framesInSurges(catalogue);
  const luminance = Number(value);
  if ((what === "brighter" || what === "darker") && luminance > 0) {
    return catalogue.find(
      what === "brighter" ? { luminanceCdM2Min: luminance } : { luminanceCdM2Max: luminance },
    );
  }
  throw new NightError(
    "usage.invalid",
    `--find must be "all", "surge", "brighter CD_M2" or "darker CD_M2", not "${words}"`,
  );
}

function framesInSurges(catalogue: Catalogue): readonly FrameRecord[] {
  return catalogue.cameraIds().flatMap((cameraId) => {
    const frames = catalogue.frames({ cameraId, fromIndex: 0, count: Number.MAX_SAFE_INTEGER });
    const surges = surgesOf(frames);
    return frames.filter(({ openedUtcMs: at }) =>
      surges.some(
        ({ startUtcMs, endUtcMs }) =>
          at !== null && at >= startUtcMs && (endUtcMs === null || at <= endUtcMs),
      ),
    );
  });
}

type Total = { readonly count: number; readonly bytes: number };

function totalOf(files: readonly FrameFile[]): Total {
  return { count: files.length, bytes: files.reduce((sum, { bytes }) => sum + bytes, 0) };
}

/** Reports each file as a share of all bytes. */
function fileWork(work: UpkeepOptions, label: string, total: Total): FileWork {
  const counter = new ProgressCounter(total.bytes, work.onProgress);
  const totalCount = total.count;
  let doneCount = 0;
  const onFile = (bytes: number): void => {
    doneCount += 1;
    counter.step({ label, doneCount, totalCount }, bytes);
  };
  return { onFile, signal: work.signal };
}

async function verify(catalogue: Catalogue, work: UpkeepOptions): Promise<void> {
  const { print } = work;
  const total = totalOf(keptFiles(catalogue, null));
  const outcome = await verifyNight(catalogue, fileWork(work, "checking files", total));
  for (const problem of outcome.problems) print(problem);
  if (outcome.problems.length > 0) {
    throw new NightError(
      "archive.corrupt",
      `${outcome.problems.length} of ${outcome.fileCount} files are not as they were kept.`,
    );
  }
  print(`${outcome.fileCount} files are as they were kept, and the catalogue is sound.`);
}

async function exportTo(catalogue: Catalogue, work: UpkeepOptions, target: string): Promise<void> {
  const night = readNight(catalogue);
  const ids = work.set === null ? null : work.set.split(",").map((word) => word.trim());
  const unknown = ids?.find((id) => !night.sets.some((set) => set.setId === id));
  if (unknown !== undefined) {
    throw new NightError("archive.not_found", `There is no frame set ${unknown}; see --list.`);
  }
  const sets = ids === null ? null : night.sets.filter((set) => ids.includes(set.setId));
  const progress = fileWork(work, "copying files", totalOf(keptFiles(catalogue, sets)));
  const outcome = await exportNight(catalogue, target, sets, progress);
  for (const remark of outcome.remarks) work.print(remark);
  work.print(`${outcome.fileCount} files were copied to ${outcome.targetDir} and read back right.`);
}

async function prune(catalogue: Catalogue, work: UpkeepOptions, rule: string): Promise<void> {
  if (rule !== "sentinel" && rule !== "unpicked") {
    throw new NightError(
      "usage.invalid",
      `--prune must be "sentinel" or "unpicked", not "${rule}"`,
    );
  }
  const outlook = pruneOutlook(catalogue, rule);
  const count = outlook.frameIndices.length;
  const size = `${(outlook.bytes / 1e6).toFixed(1)} MB`;
  if (!work.yes) {
    work.print(`${count} previews would be deleted, ${size}; add --yes to do it.`);
    return;
  }
  const total = { count, bytes: outlook.bytes };
  await pruneFiles(catalogue, rule, fileWork(work, "pruning previews", total));
  work.print(`${count} previews were deleted, ${size}; their rows stay.`);
}

function clock(utcMs: number): string {
  return new Date(utcMs).toISOString().slice(11, 19);
}
