import type { Database } from "better-sqlite3";

/**
 * The catalogue's schema, one migration a version; `user_version` counts those that have run.
 * Never edit one that a night may hold: add the next.
 *
 * A frame's row carries its whole record as JSON, and beside it the few columns that are searched.
 */
const MIGRATIONS: readonly string[] = [
  `CREATE TABLE state (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
   CREATE TABLE events (
     position INTEGER PRIMARY KEY,
     at_ms REAL NOT NULL,
     utc_ms INTEGER NOT NULL,
     kind TEXT NOT NULL,
     body TEXT NOT NULL
   );
   CREATE TABLE frames (
     camera_id TEXT NOT NULL,
     frame_index INTEGER NOT NULL,
     status TEXT NOT NULL,
     opened_utc_ms INTEGER,
     luminance_cd_m2 REAL,
     record TEXT NOT NULL,
     PRIMARY KEY (camera_id, frame_index)
   ) WITHOUT ROWID;
   CREATE INDEX frames_by_index ON frames (frame_index, camera_id);
   CREATE INDEX frames_by_time ON frames (opened_utc_ms);
   CREATE INDEX frames_by_luminance ON frames (luminance_cd_m2);`,
  `CREATE TABLE slices (
     camera_id TEXT NOT NULL,
     frame_index INTEGER NOT NULL,
     thumbnail BLOB,
     sky_column BLOB,
     PRIMARY KEY (camera_id, frame_index)
   );
   CREATE TABLE picks (
     camera_id TEXT NOT NULL,
     frame_index INTEGER NOT NULL,
     pick TEXT NOT NULL CHECK (pick IN ('keep', 'leave')),
     rating INTEGER,
     PRIMARY KEY (camera_id, frame_index)
   ) WITHOUT ROWID;`,
  `CREATE TABLE measures (
     camera_id TEXT NOT NULL,
     frame_index INTEGER NOT NULL,
     made_of TEXT NOT NULL,
     measure TEXT NOT NULL,
     sky_column BLOB NOT NULL,
     thumbnail BLOB NOT NULL,
     PRIMARY KEY (camera_id, frame_index)
   );`,
  // Beside thumbnails a strip's columns lay one to a page; by themselves a night's are read at once.
  `CREATE TABLE sky_columns (
     frame_index INTEGER NOT NULL,
     camera_id TEXT NOT NULL,
     sky_column BLOB NOT NULL,
     PRIMARY KEY (frame_index, camera_id)
   ) WITHOUT ROWID;
   INSERT INTO sky_columns
     SELECT frame_index, camera_id, sky_column FROM slices WHERE sky_column IS NOT NULL;
   ALTER TABLE slices DROP COLUMN sky_column;`,
];

/** Marks the file as a night's catalogue: the letters "NVKT". */
export const APPLICATION_ID = 0x4e564b54;

export const SCHEMA_VERSION = MIGRATIONS.length;

export function schemaVersionOf(database: Database): number {
  return database.pragma("user_version", { simple: true }) as number;
}

/** Brings the schema up to date, each migration whole or not at all. */
export function migrate(database: Database): void {
  for (let version = schemaVersionOf(database); version < SCHEMA_VERSION; version += 1) {
    database.transaction(() => {
      database.exec(MIGRATIONS[version]!);
      database.pragma(`user_version = ${version + 1}`);
      database.pragma(`application_id = ${APPLICATION_ID}`);
    })();
  }
}
