import { mkdirSync } from "node:fs";
import { join } from "node:path";
import { NightError } from "../../core/errors.ts";
import { archiveError } from "./archiveError.ts";
import { SqliteFile, sqliteCodeOf } from "./sqliteFile.ts";

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
  const file = lockedFile(join(dataDir, HOLD_FILE), dataDir);
  return () => file.close();
}

function lockedFile(path: string, dataDir: string): SqliteFile {
  let file: SqliteFile | null = null;
  try {
    file = SqliteFile.open(path, "create");
    file.exec("BEGIN EXCLUSIVE");
    return file;
  } catch (thrown) {
    file?.close();
    if (sqliteCodeOf(thrown) !== "SQLITE_BUSY") throw archiveError(thrown, path);
    throw new NightError(
      "archive.in_use",
      `Another Nattvakt keeps its nights in ${dataDir}; end that one, or choose another folder with --data.`,
      { dataDir },
      { cause: thrown },
    );
  }
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
