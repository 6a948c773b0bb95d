import { mkdirSync } from "node:fs";
import { join } from "node:path";
import SqliteDatabase from "better-sqlite3";
import { NightError } from "../../core/errors.ts";
import { archiveError, onDisk } from "./archiveError.ts";

const HOLD_FILE = "held.sqlite";

/**
 * Keeps every other Nattvakt out of a data folder while this one runs: two would each take the
 * other's open night for one that was cut off. An empty database is locked, because the system lets
 * go of its lock however a process ends.
 *
 * @returns lets go of the folder.
 * @throws NightError `archive.in_use` when another process holds it, `archive.read_only`.
 */
export function holdDataFolder(dataDir: string): () => void {
  makeFolder(dataDir);
  const path = join(dataDir, HOLD_FILE);
  const database = onDisk(path, () => new SqliteDatabase(path, { timeout: 0 }));
  try {
    database.exec("BEGIN EXCLUSIVE");
  } catch (thrown) {
    database.close();
    if ((thrown as { code?: unknown }).code !== "SQLITE_BUSY") throw archiveError(thrown, path);
    throw new NightError(
      "archive.in_use",
      `Another Nattvakt keeps its nights in ${dataDir}; end that one, or choose another folder with --data.`,
      { dataDir },
      { cause: thrown },
    );
  }
  return () => database.close();
}

function makeFolder(dataDir: string): void {
  try {
    mkdirSync(dataDir, { recursive: true });
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
