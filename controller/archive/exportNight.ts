import { existsSync } from "node:fs";
import { copyFile, mkdir } from "node:fs/promises";
import { basename, dirname, join } from "node:path";
import { NightError } from "../../core/errors.ts";
import type { FrameSet } from "../../core/frames/frameSets.ts";
import { LEFT_BEHIND_REASON, isLeftBehind } from "../../core/frames/reconcile.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { archiveError } from "./archiveError.ts";
import { CATALOGUE_FILE, Catalogue } from "./catalogue.ts";
import { keyOf, keysOf } from "./frameKey.ts";
import { PART_ENDING, renameDurably } from "../durableWrite.ts";
import { keptFiles, listsOf, sidecarPath, type FileWork } from "./keptFiles.ts";
import { NIGHT_FILE } from "./nightFolder.ts";
import { sha256OfFile } from "./verifyNight.ts";

type Export = {
  readonly targetDir: string;
  readonly fileCount: number;
  /** Files that could not come along because they are missing or altered. */
  readonly remarks: readonly string[];
};

/**
 * Copies a night, or some of its frame sets, to another disk and reads every copy back.
 *
 * The catalogue comes along with every row; rows of frames that stay behind say so, so that the copy
 * is whole in itself, and what an earlier export brought to the same place still counts. A file that is altered here is copied nowhere and named. What
 * lies at the target already and is right is not copied again, so that a broken-off export goes on.
 *
 * @param targetDir  Folder into which the night's own folder is put.
 * @param sets  null: the whole night.
 * @throws NightError `archive.disk_full`, `archive.read_only`, `archive.corrupt` when a copy reads
 *   back wrong; the signal's reason when it is stopped.
 */
export async function exportNight(
  catalogue: Catalogue,
  targetDir: string,
  sets: readonly FrameSet[] | null,
  work: FileWork,
): Promise<Export> {
  const from = catalogue.nightDir;
  const to = join(targetDir, basename(from));
  const remarks: string[] = [];
  let fileCount = 0;
  try {
    await mkdir(to, { recursive: true });
    for (const path of [NIGHT_FILE, ...listsOf(catalogue)]) await copyUnlisted(from, to, path);
    await copyCatalogue(catalogue, to, sets);
    for (const { path, bytes, sha256 } of keptFiles(catalogue, sets)) {
      work.signal.throwIfAborted();
      const remark = await copyVerified(from, to, path, sha256);
      if (remark === null) fileCount += 1;
      else remarks.push(remark);
      await copyUnlisted(from, to, sidecarPath(path));
      work.onFile(bytes);
    }
    return { targetDir: to, fileCount, remarks };
  } catch (thrown) {
    work.signal.throwIfAborted();
    throw archiveError(thrown, to);
  }
}

async function copyCatalogue(
  catalogue: Catalogue,
  to: string,
  sets: readonly FrameSet[] | null,
): Promise<void> {
  const meant = sets === null ? null : new Set([...keysOf(sets), ...keysAt(to)]);
  await catalogue.copyTo(join(to, CATALOGUE_FILE));
  if (meant === null) return;
  const copy = Catalogue.open(to);
  try {
    const stay = allFrames(copy).filter((frame) => !meant.has(keyOf(frame)));
    copy.putFrames(stay.map(leftBehind));
  } finally {
    copy.close();
  }
}

/** The frames that an earlier export to this place was meant to bring. */
function keysAt(nightDir: string): readonly string[] {
  if (!existsSync(join(nightDir, CATALOGUE_FILE))) return [];
  try {
    const copy = Catalogue.open(nightDir, { readOnly: true });
    const meant = allFrames(copy).filter((frame) => !isLeftBehind(frame));
    copy.close();
    return meant.map(keyOf);
  } catch {
    // An export that was broken off in the middle of its catalogue: it brought nothing else yet.
    return [];
  }
}

function leftBehind(frame: FrameRecord): FrameRecord {
  if (isLeftBehind(frame)) return frame;
  const reasons = [...frame.reasons, LEFT_BEHIND_REASON];
  return { ...frame, status: frame.status === "kept" ? "missing" : frame.status, reasons };
}

function allFrames(catalogue: Catalogue): readonly FrameRecord[] {
  return catalogue.frames({ fromIndex: 0, count: Number.MAX_SAFE_INTEGER });
}

/** @returns null when the copy is right, else why there is none. */
async function copyVerified(
  from: string,
  to: string,
  path: string,
  sha256: string,
): Promise<string | null> {
  const target = join(to, path);
  if ((await sha256OfFile(target)) === sha256) return null;
  const source = await sha256OfFile(join(from, path));
  if (source === null) return `${path} is missing and was not copied.`;
  if (source !== sha256) {
    return `${path} was altered (SHA-256 ${source}, kept as ${sha256}) and was not copied.`;
  }
  await mkdir(dirname(target), { recursive: true });
  const part = `${target}${PART_ENDING}`;
  await copyFile(join(from, path), part);
  if ((await sha256OfFile(part)) !== sha256) {
    throw new NightError(
      "archive.corrupt",
      `The copy of ${path} reads back wrong; the disk at ${to} cannot be trusted.`,
    );
  }
  await renameDurably(part, target);
  return null;
}

/** A file that the catalogue has no checksum of, where there is one: as it is now. */
async function copyUnlisted(from: string, to: string, path: string): Promise<void> {
  const sha256 = await sha256OfFile(join(from, path));
  if (sha256 !== null) await copyVerified(from, to, path, sha256);
}
