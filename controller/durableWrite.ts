import {
  closeSync,
  fchmodSync,
  fsyncSync,
  openSync,
  renameSync,
  rmSync,
  writeFileSync,
} from "node:fs";
import { open, rename, rm } from "node:fs/promises";
import { dirname } from "node:path";

/** Ending of a file that is being written; whatever carries it is unfinished. */
export const PART_ENDING = ".part";

/** What some systems answer when a folder is to be flushed, which they need not do. */
const NO_FOLDER_FLUSH: readonly unknown[] = ["EINVAL", "EPERM", "EISDIR", "EACCES"];

/**
 * Writes a file so that it is either whole under its name or not there at all: aside, flushed,
 * renamed, its folder flushed. When this resolves the file outlives a power cut; when it rejects,
 * with the file system's own error, an older file of the name is untouched.
 */
export async function writeDurably(target: string, bytes: Uint8Array | string): Promise<void> {
  const part = `${target}${PART_ENDING}`;
  try {
    const file = await open(part, "w");
    try {
      await file.writeFile(bytes);
      await file.sync();
    } finally {
      await file.close();
    }
    await rename(part, target);
  } catch (thrown) {
    await rm(part, { force: true }).catch(() => undefined); // what went wrong first is thrown
    throw thrown;
  }
  await flushFolder(dirname(target));
}

/** As `writeDurably`, for the few small files that are written outside the night's path. */
export function writeDurablySync(
  target: string,
  bytes: Uint8Array | string,
  /** `mode`: who may read it, where the system knows that; left out: as for any new file. */
  { mode }: { readonly mode?: number } = {},
): void {
  const part = `${target}${PART_ENDING}`;
  try {
    const file = openSync(part, "w", mode);
    try {
      // An older part keeps the mode that it was made with.
      if (mode !== undefined) fchmodSync(file, mode);
      writeFileSync(file, bytes);
      fsyncSync(file);
    } finally {
      closeSync(file);
    }
    renameSync(part, target);
  } catch (thrown) {
    removePartSync(part);
    throw thrown;
  }
  flushFolderSync(dirname(target));
}

/** Gives a file that is written already its name, as durably as `writeDurably`. */
export async function renameDurably(part: string, target: string): Promise<void> {
  const file = await open(part, "r+");
  try {
    await file.sync();
  } finally {
    await file.close();
  }
  await rename(part, target);
  await flushFolder(dirname(target));
}

/** A rename lasts only once its folder is flushed; some systems cannot flush one, and need not. */
export async function flushFolder(path: string): Promise<void> {
  const folder = await open(path, "r").catch(() => null);
  if (folder === null) return;
  try {
    await folder.sync();
  } catch (thrown) {
    if (!NO_FOLDER_FLUSH.includes((thrown as NodeJS.ErrnoException).code)) throw thrown;
  } finally {
    await folder.close();
  }
}

function flushFolderSync(path: string): void {
  let folder: number;
  try {
    folder = openSync(path, "r");
  } catch {
    return; // a system that does not open folders flushes them by itself
  }
  try {
    fsyncSync(folder);
  } catch (thrown) {
    if (!NO_FOLDER_FLUSH.includes((thrown as NodeJS.ErrnoException).code)) throw thrown;
  } finally {
    closeSync(folder);
  }
}

function removePartSync(part: string): void {
  try {
    rmSync(part, { force: true });
  } catch {
    // What went wrong first is thrown.
  }
}
