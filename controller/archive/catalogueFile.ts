import { existsSync, statSync } from "node:fs";
import { NightError } from "../../core/errors.ts";
import { archiveError, onDisk } from "./archiveError.ts";
import { APPLICATION_ID, SCHEMA_VERSION, migrate, schemaVersionOf } from "./schema.ts";
import { SqliteFile } from "./sqliteFile.ts";

/** A commit or a checkpoint of another connection is over in less, also on a slow card. */
const BUSY_TIMEOUT_MS = 5000;

/** Makes the file of a new night. */
export function createFile(path: string): SqliteFile {
  return onDisk(path, () =>
    prepared(SqliteFile.open(path, "create", BUSY_TIMEOUT_MS), prepareForWriting),
  );
}

/** Opens to write, migrating an older one. */
export function openForWriting(path: string): SqliteFile {
  return onDisk(path, () => prepared(openSound(path, "write"), prepareForWriting));
}

/**
 * Opens without ever writing to the night's folder.
 *
 * SQLite wants to lay its shared-memory file beside a WAL database even to read it; on a disk that
 * refuses that, and for a catalogue that still needs migrating, a copy in memory is read instead.
 */
export function openForReading(path: string): SqliteFile {
  try {
    const file = openSound(path, "read");
    return schemaVersionOf(file) === SCHEMA_VERSION ? file : copied(file);
  } catch (thrown) {
    const error = archiveError(thrown, path);
    if (!(error instanceof NightError) || error.code !== "archive.read_only") throw error;
    refuseUnfolded(path);
    return onDisk(path, () => copied(openSound(path, "frozen")));
  }
}

function openSound(path: string, access: "write" | "read" | "frozen"): SqliteFile {
  return prepared(SqliteFile.open(path, access, BUSY_TIMEOUT_MS), (file) => {
    refuseWhatWeCannotRead(file, path);
  });
}

/** In memory and up to date; the file itself is closed. */
function copied(file: SqliteFile): SqliteFile {
  try {
    return prepared(file.copyInMemory(), migrate);
  } finally {
    file.close();
  }
}

/** The file after a step, which closes it when it fails. */
function prepared(file: SqliteFile, step: (file: SqliteFile) => void): SqliteFile {
  try {
    step(file);
    return file;
  } catch (thrown) {
    file.close();
    throw thrown;
  }
}

function prepareForWriting(file: SqliteFile): void {
  file.setPragma("journal_mode", "WAL");
  file.setPragma("synchronous", "NORMAL");
  migrate(file);
}

function refuseUnfolded(path: string): void {
  const logPath = `${path}-wal`;
  if (!existsSync(logPath) || statSync(logPath).size === 0) return;
  throw new NightError(
    "archive.read_only",
    `The night in ${path} was not closed and its disk cannot be written; copy the folder to a disk that can be, and open it there.`,
    { path },
  );
}
function refuseWhatWeCannotRead(file: SqliteFile, path: string): void {
  const version = schemaVersionOf(file);
  const applicationId = file.pragma("application_id");
  if (version === 0 || applicationId !== APPLICATION_ID) {
    throw new NightError("archive.corrupt", `${path} is not a night's catalogue.`, { path });
  }
  if (version > SCHEMA_VERSION) {
    throw new NightError(
      "archive.newer",
      `The night in ${path} was written by a newer Nattvakt (catalogue version ${version}, this one reads up to ${SCHEMA_VERSION}); update Nattvakt to open it.`,
      { path, version, known: SCHEMA_VERSION },
    );
  }
}
