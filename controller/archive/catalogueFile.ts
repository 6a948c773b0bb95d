import { existsSync, readFileSync, statSync } from "node:fs";
import SqliteDatabase, { type Database } from "better-sqlite3";
import { NightError } from "../../core/errors.ts";
import { archiveError, onDisk } from "./archiveError.ts";
import { APPLICATION_ID, SCHEMA_VERSION, migrate, schemaVersionOf } from "./schema.ts";

/** Makes the file of a new night. */
export function createFile(path: string): Database {
  return onDisk(path, () => {
    const database = new SqliteDatabase(path);
    prepareForWriting(database);
    migrate(database);
    return database;
  });
}

/** Opens to write, migrating an older one. */
export function openForWriting(path: string): Database {
  return onDisk(path, () => {
    const database = new SqliteDatabase(path, { fileMustExist: true });
    try {
      refuseWhatWeCannotRead(database, path);
      prepareForWriting(database);
      migrate(database);
      return database;
    } catch (thrown) {
      database.close();
      throw thrown;
    }
  });
}

function prepareForWriting(database: Database): void {
  database.pragma("journal_mode = WAL");
  database.pragma("synchronous = NORMAL");
  database.pragma("busy_timeout = 5000");
}

/**
 * Opens without ever writing to the night's folder.
 *
 * SQLite wants to lay its shared-memory file beside a WAL database even to read it; on a disk that
 * refuses that, and for a catalogue that still needs migrating, a copy in memory is read instead.
 */
export function openForReading(path: string): Database {
  try {
    const database = new SqliteDatabase(path, { readonly: true, fileMustExist: true });
    try {
      refuseWhatWeCannotRead(database, path);
      if (schemaVersionOf(database) === SCHEMA_VERSION) return database;
      const copy = new SqliteDatabase(database.serialize());
      database.close();
      migrate(copy);
      return copy;
    } catch (thrown) {
      database.close();
      throw thrown;
    }
  } catch (thrown) {
    const error = archiveError(thrown, path);
    if (!(error instanceof NightError) || error.code !== "archive.read_only") throw error;
    return onDisk(path, () => openCopy(path));
  }
}

function openCopy(path: string): Database {
  const logPath = `${path}-wal`;
  if (existsSync(logPath) && statSync(logPath).size > 0) {
    throw new NightError(
      "archive.read_only",
      `The night in ${path} was not closed and its disk cannot be written; copy the folder to a disk that can be, and open it there.`,
      { path },
    );
  }
  const bytes = readFileSync(path);
  // Bytes 18 and 19 of the header: 2 asks for a WAL, which memory cannot have; 1 is without.
  // Source: SQLite, "Database File Format", section 1.3.
  bytes[18] = 1;
  bytes[19] = 1;
  const database = new SqliteDatabase(bytes);
  refuseWhatWeCannotRead(database, path);
  migrate(database);
  return database;
}

function refuseWhatWeCannotRead(database: Database, path: string): void {
  const version = schemaVersionOf(database);
  const applicationId = database.pragma("application_id", { simple: true }) as number;
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
