import { existsSync } from "node:fs";
import { copyFile, mkdir, open, rename } from "node:fs/promises";
import { basename, dirname, join } from "node:path";
import { NightError } from "../../core/errors.ts";
import type { FrameSet } from "../../core/frames/frameSets.ts";
import { archiveError } from "./archiveError.ts";
import { CATALOGUE_FILE, type Catalogue } from "./catalogue.ts";
import { PART_ENDING } from "./frameFiles.ts";
import { NIGHT_FILE } from "./nightFolder.ts";
import { sha256OfFile } from "./verifyNight.ts";

export type Export = {
  readonly targetDir: string;
  readonly fileCount: number;
  /** Files that could not come along because they are missing or altered. */
  readonly remarks: readonly string[];
};

/**
 * Copies a night, or some of its frame sets, to another disk and reads every copy back.
 *
 * The catalogue comes along whole. A file that is altered here is copied nowhere and named. What
 * lies at the target already and is right is not copied again, so that a broken-off export goes on.
 *
 * @param targetDir  Folder into which the night's own folder is put.
 * @param sets  null: the whole night.
 * @throws NightError `archive.disk_full`, `archive.read_only`, `archive.corrupt` when a copy reads
 *   back wrong.
 */
export async function exportNight(
  catalogue: Catalogue,
  targetDir: string,
  sets: readonly FrameSet[] | null,
): Promise<Export> {
  const nightTarget = join(targetDir, basename(catalogue.nightDir));
  const remarks: string[] = [];
  let fileCount = 0;
  try {
    await mkdir(nightTarget, { recursive: true });
    if (existsSync(join(catalogue.nightDir, NIGHT_FILE))) {
      await copyFile(join(catalogue.nightDir, NIGHT_FILE), join(nightTarget, NIGHT_FILE));
    }
    await catalogue.copyTo(join(nightTarget, CATALOGUE_FILE));
    for (const { path, sha256 } of filesOf(catalogue, sets)) {
      const outcome = await copyVerified(catalogue.nightDir, nightTarget, path, sha256);
      if (outcome === null) fileCount += 1;
      else remarks.push(outcome);
      await copySidecar(catalogue.nightDir, nightTarget, path);
    }
    return { targetDir: nightTarget, fileCount, remarks };
  } catch (thrown) {
    throw archiveError(thrown, nightTarget);
  }
}

function filesOf(catalogue: Catalogue, sets: readonly FrameSet[] | null) {
  const frames = catalogue.frames({ fromIndex: 0, count: Number.MAX_SAFE_INTEGER });
  const isWanted = (cameraId: string, frameIndex: number): boolean =>
    sets === null ||
    sets.some((set) => set.cameraId === cameraId && set.frameIndices.includes(frameIndex));
  return frames.flatMap(({ cameraId, frameIndex, status, file }) =>
    status === "kept" && file !== null && isWanted(cameraId, frameIndex) ? [file] : [],
  );
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
  await flush(part);
  if ((await sha256OfFile(part)) !== sha256) {
    throw new NightError(
      "archive.corrupt",
      `The copy of ${path} reads back wrong; the disk at ${to} cannot be trusted.`,
    );
  }
  await rename(part, target);
  return null;
}

/** XMP beside the frame comes along. */
async function copySidecar(from: string, to: string, path: string): Promise<void> {
  const sidecar = path.replace(/\.[^.]+$/, ".xmp");
  if (existsSync(join(from, sidecar))) await copyFile(join(from, sidecar), join(to, sidecar));
}

async function flush(path: string): Promise<void> {
  const file = await open(path, "r+");
  try {
    await file.sync();
  } finally {
    await file.close();
  }
}
