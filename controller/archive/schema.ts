import type { SqliteFile } from "./sqliteFile.ts";

/**
 * The catalogue's schema, one migration a version; `user_version` counts those that have run.
 * Never edit one that a night may hold: add the next.
 *
 * A frame's row carries its whole record as JSON, and beside it the few columns that are searched.
 */
const MIGRATIONS: readonly string[] = [
  `CREATE TABLE night.state (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
   CREATE TABLE night.events (
     position INTEGER PRIMARY KEY,
     at_ms REAL NOT NULL,
     utc_ms INTEGER NOT NULL,
     kind TEXT NOT NULL,
     body TEXT NOT NULL
   );
   CREATE TABLE night.frames (
     camera_id TEXT NOT NULL,
     frame_index INTEGER NOT NULL,
     status TEXT NOT NULL,
     opened_utc_ms INTEGER,
     luminance_cd_m2 REAL,
     record TEXT NOT NULL,
     PRIMARY KEY (camera_id, frame_index)
   ) WITHOUT ROWID;
   CREATE INDEX night.frames_by_index ON frames (frame_index, camera_id);
   CREATE INDEX night.frames_by_time ON frames (opened_utc_ms);
   CREATE INDEX night.frames_by_luminance ON frames (luminance_cd_m2);`,
  `CREATE TABLE night.slices (
     camera_id TEXT NOT NULL,
     frame_index INTEGER NOT NULL,
     thumbnail BLOB,
     sky_column BLOB,
     PRIMARY KEY (camera_id, frame_index)
   );
   CREATE TABLE night.picks (
     camera_id TEXT NOT NULL,
     frame_index INTEGER NOT NULL,
     pick TEXT NOT NULL CHECK (pick IN ('keep', 'leave')),
     rating INTEGER,
     PRIMARY KEY (camera_id, frame_index)
   ) WITHOUT ROWID;`,
  `CREATE TABLE night.measures (
     camera_id TEXT NOT NULL,
     frame_index INTEGER NOT NULL,
     made_of TEXT NOT NULL,
     measure TEXT NOT NULL,
     sky_column BLOB NOT NULL,
     thumbnail BLOB NOT NULL,
     PRIMARY KEY (camera_id, frame_index)
   );`,
  // Beside thumbnails a strip's columns lay one to a page; by themselves a night's are read at once.
  `CREATE TABLE night.sky_columns (
     frame_index INTEGER NOT NULL,
     camera_id TEXT NOT NULL,
     sky_column BLOB NOT NULL,
     PRIMARY KEY (frame_index, camera_id)
   ) WITHOUT ROWID;
   INSERT INTO night.sky_columns
     SELECT frame_index, camera_id, sky_column FROM night.slices WHERE sky_column IS NOT NULL;
   ALTER TABLE night.slices DROP COLUMN sky_column;`,
  `CREATE TABLE night.strays (
     path TEXT PRIMARY KEY,
     record TEXT NOT NULL
   ) WITHOUT ROWID;`,
];

/** Marks the file as a night's catalogue: the letters "NVKT". */
export const APPLICATION_ID = 0x4e564b54;

export const SCHEMA_VERSION = MIGRATIONS.length;

export function schemaVersionOf(file: SqliteFile): number {
  return file.pragma("user_version") as number;
}

/** Brings the schema up to date, each migration whole or not at all. */
export function migrate(file: SqliteFile): void {
  for (let version = schemaVersionOf(file); version < SCHEMA_VERSION; version += 1) {
    file.transaction(() => {
      file.exec(MIGRATIONS[version]!);
      file.setPragma("user_version", version + 1);
      file.setPragma("application_id", APPLICATION_ID);
    });
  }
}
