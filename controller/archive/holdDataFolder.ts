import { randomUUID } from "node:crypto";
import { existsSync, mkdirSync, rmSync, rmdirSync } from "node:fs";
import { dirname, join } from "node:path";
import { NightError } from "../../core/errors.ts";
import { archiveError } from "./archiveError.ts";
import { SqliteFile, sqliteCodeOf } from "./sqliteFile.ts";

const HOLD_FILE = "held.sqlite";

/** Opens a file and locks it for itself alone; in tests a file system that cannot. */
type LockFile = (path: string) => Pick<SqliteFile, "close">;

/**
 * Keeps every other Nattvakt out of a data folder while this one runs: two would each take the
 * other's open night for one that was cut off. An empty database is locked, because the system
 * releases its lock however a process ends.
 *
 * @returns releases the folder.
 * @throws NightError `archive.in_use` when another process holds it, `archive.no_locks` when its file
 *   system has none; `archive.read_only`. Nothing is left behind then.
 */
export function holdDataFolder(dataDir: string, lock: LockFile = lockFile): () => void {
  const firstMade = makeFolder(dataDir);
  const path = join(dataDir, HOLD_FILE);
  const wasThere = existsSync(path);
  try {
    const file = lock(path);
    return () => file.close();
  } catch (thrown) {
    const error = failureOf(thrown, dataDir, lock);
    if (!wasThere) rmSync(path, { force: true });
    if (firstMade !== undefined) removeEmpty(dataDir, firstMade);
    throw error;
  }
}

function lockFile(path: string): SqliteFile {
  const file = SqliteFile.open(path, "create");
  try {
    file.exec("BEGIN EXCLUSIVE");
    return file;
  } catch (thrown) {
    file.close();
    throw thrown;
  }
}

function failureOf(thrown: unknown, dataDir: string, lock: LockFile): unknown {
  const code = sqliteCodeOf(thrown);
  if (code === "SQLITE_IOERR" || (code === "SQLITE_BUSY" && !takesLocks(dataDir, lock))) {
    return new NightError(
      "archive.no_locks",
      `The file system that holds ${dataDir} takes no locks, so that two Nattvakts could spoil each other's night; choose a folder on a disk of this computer with --data.`,
      { dataDir },
      { cause: thrown },
    );
  }
  if (code !== "SQLITE_BUSY") return archiveError(thrown, join(dataDir, HOLD_FILE));
  return new NightError(
    "archive.in_use",
    `Another Nattvakt keeps its nights in ${dataDir}; end that one, or choose another folder with --data.`,
    { dataDir },
    { cause: thrown },
  );
}

/** SQLite says "busy" of a lock server that does not answer, too: nobody else holds a new file. */
function takesLocks(dataDir: string, lock: LockFile): boolean {
  const path = join(dataDir, `held-${randomUUID()}.sqlite`);
  try {
    lock(path).close();
    return true;
  } catch {
    return false;
  } finally {
    rmSync(path, { force: true });
  }
}

/** @returns The first folder that had to be made; undefined when all were there. */
function makeFolder(dataDir: string): string | undefined {
  try {
    return mkdirSync(dataDir, { recursive: true });
  } catch (thrown) {
    // What a read-only file system answers when folders are made with their parents.
    if ((thrown as { code?: unknown }).code !== "ENOENT") throw archiveError(thrown, dataDir);
    throw new NightError(
      "archive.read_only",
      `${dataDir} cannot be made; choose a data folder that this user may write to.`,
      { dataDir },
      { cause: thrown },
    );
  }
}

/** Takes away folders from `deepest` up to `highest`, as far as they are empty. */
function removeEmpty(deepest: string, highest: string): void {
  try {
    for (let folder = deepest; ; folder = dirname(folder)) {
      rmdirSync(folder);
      if (folder === highest) return;
    }
  } catch {
    // Somebody has put something there meanwhile: it stays.
  }
}
