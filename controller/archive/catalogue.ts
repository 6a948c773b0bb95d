import { existsSync, readFileSync, statSync } from "node:fs";
import { join } from "node:path";
import SqliteDatabase, { type Database, type Statement } from "better-sqlite3";
import { NightError } from "../../core/errors.ts";
import type { FrameRecord } from "../../core/night/frameRecord.ts";
import type { MonotonicMs, UtcMs } from "../../core/units.ts";
import { archiveError, onDisk } from "./archiveError.ts";
import type { NightInfo } from "./nightInfo.ts";
import { APPLICATION_ID, SCHEMA_VERSION, migrate, schemaVersionOf } from "./schema.ts";

export const CATALOGUE_FILE = "catalogue.sqlite";

/** One thing that happened in the watch, in the order in which the watch took it in. */
export type WatchLogEvent = {
  readonly atMs: MonotonicMs;
  readonly utcMs: UtcMs;
  readonly kind: string;
  /** Anything that JSON can carry. */
  readonly body: unknown;
};

/** A frame's share of the night strip. */
export type FrameSlice = {
  readonly thumbnailJpeg: Uint8Array | null;
  /** The keogram's column: RGB bytes from the top of the frame to its bottom. */
  readonly column: Uint8Array | null;
};

export type StoredColumn = {
  readonly cameraId: string;
  readonly frameIndex: number;
  readonly column: Uint8Array;
};

/** What delivering keeps of a frame, so that it measures each only once. */
export type StoredMeasure = {
  readonly measure: unknown;
  readonly column: Uint8Array;
  readonly thumbnailJpeg: Uint8Array;
};

/** The photographer's own word on a frame: it outranks every score. */
export type Pick = {
  readonly cameraId: string;
  readonly frameIndex: number;
  readonly pick: "keep" | "leave";
  /** 1..5 stars; null: none given. */
  readonly rating: number | null;
};

export type FrameQuery = {
  readonly cameraId?: string;
  readonly fromUtcMs?: number;
  readonly toUtcMs?: number;
  readonly luminanceCdM2Min?: number;
  readonly luminanceCdM2Max?: number;
  readonly limit?: number;
};

type FrameRow = { record: string };
type EventRow = { position: number; at_ms: number; utc_ms: number; kind: string; body: string };

/**
 * The truth about one night: every event, frame, reading and reason, in one SQLite file.
 *
 * Written in WAL mode. Events are committed without a flush (they survive the death of the
 * process); a frame's row is committed with one, and a flush of the log carries every event before
 * it along, so that a frame which the page has shown outlives a power cut as well.
 */
export class Catalogue {
  readonly nightDir: string;
  readonly #database: Database;
  readonly #path: string;
  readonly #statements = new Map<string, Statement>();

  private constructor(nightDir: string, database: Database) {
    this.nightDir = nightDir;
    this.#path = join(nightDir, CATALOGUE_FILE);
    this.#database = database;
  }

  /** Makes the catalogue of a new night. @throws NightError `archive.*`. */
  static create(nightDir: string, night: NightInfo): Catalogue {
    const path = join(nightDir, CATALOGUE_FILE);
    return onDisk(path, () => {
      const database = new SqliteDatabase(path);
      prepareForWriting(database);
      migrate(database);
      const catalogue = new Catalogue(nightDir, database);
      catalogue.setState("night", night);
      catalogue.flush();
      return catalogue;
    });
  }

  /**
   * Opens a night's catalogue, migrating an older one.
   *
   * @throws NightError `archive.not_found`, `archive.newer`, `archive.corrupt`, `archive.read_only`.
   */
  static open(nightDir: string, options: { readOnly?: boolean } = {}): Catalogue {
    const path = join(nightDir, CATALOGUE_FILE);
    if (!existsSync(path)) {
      throw new NightError("archive.not_found", `There is no night's catalogue in ${nightDir}.`, {
        nightDir,
      });
    }
    const database = options.readOnly === true ? openForReading(path) : openForWriting(path);
    return new Catalogue(nightDir, database);
  }

  /** Adds an event after all earlier ones. */
  appendEvent(event: WatchLogEvent): void {
    this.#run(
      "INSERT INTO events (at_ms, utc_ms, kind, body) VALUES (?, ?, ?, ?)",
      event.atMs,
      event.utcMs,
      event.kind,
      JSON.stringify(event.body ?? null),
    );
  }

  /** Every event in order; reads as it goes, so that a long night fits in memory. */
  *events(options: { fromPosition?: number } = {}): Iterable<WatchLogEvent & { position: number }> {
    const statement = this.#statement("SELECT * FROM events WHERE position >= ? ORDER BY position");
    let from = options.fromPosition ?? 0;
    // In pages, because an open cursor would block writes on the same connection.
    for (;;) {
      const page = this.#page<EventRow>(statement, "events", from);
      for (const row of page) {
        yield {
          position: row.position,
          atMs: row.at_ms as MonotonicMs,
          utcMs: row.utc_ms as UtcMs,
          kind: row.kind,
          body: JSON.parse(row.body) as unknown,
        };
      }
      if (page.length < PAGE) return;
      from = page.at(-1)!.position + 1;
    }
  }

  /** Night time of the newest event; null: nothing has happened yet. */
  lastEventUtcMs(): UtcMs | null {
    return (this.#get("SELECT max(utc_ms) AS utc FROM events") as { utc: UtcMs | null }).utc;
  }

  eventCount(): number {
    return (this.#get("SELECT count(*) AS n FROM events") as { n: number }).n;
  }

  /** Inserts or updates a frame by its camera and index, and flushes it to the disk. */
  putFrame(record: FrameRecord): void {
    this.#flushed(() => {
      this.#writeFrame(record);
    });
  }

  /** Several frames in one commit and one flush. */
  putFrames(records: readonly FrameRecord[]): void {
    this.#flushed(() => {
      this.transaction(() => {
        for (const record of records) this.#writeFrame(record);
      });
    });
  }

  frame(cameraId: string, frameIndex: number): FrameRecord | null {
    const row = this.#get(
      "SELECT record FROM frames WHERE camera_id = ? AND frame_index = ?",
      cameraId,
      frameIndex,
    ) as FrameRow | undefined;
    return row === undefined ? null : toRecord(row);
  }

  /** Frames by rising index, at most `count` from `fromIndex`; of all cameras when none is named. */
  frames(options: { cameraId?: string; fromIndex: number; count: number }): FrameRecord[] {
    const rows =
      options.cameraId === undefined
        ? this.#all(
            "SELECT record FROM frames WHERE frame_index >= ? ORDER BY frame_index, camera_id LIMIT ?",
            options.fromIndex,
            options.count,
          )
        : this.#all(
            "SELECT record FROM frames WHERE camera_id = ? AND frame_index >= ? ORDER BY frame_index LIMIT ?",
            options.cameraId,
            options.fromIndex,
            options.count,
          );
    return (rows as FrameRow[]).map(toRecord);
  }

  /** Frames by time of opening that meet every condition given. */
  find(query: FrameQuery): FrameRecord[] {
    const conditions: string[] = ["opened_utc_ms IS NOT NULL"];
    const values: (string | number)[] = [];
    const add = (condition: string, value: string | number | undefined): void => {
      if (value === undefined) return;
      conditions.push(condition);
      values.push(value);
    };
    add("camera_id = ?", query.cameraId);
    add("opened_utc_ms >= ?", query.fromUtcMs);
    add("opened_utc_ms <= ?", query.toUtcMs);
    add("luminance_cd_m2 >= ?", query.luminanceCdM2Min);
    add("luminance_cd_m2 <= ?", query.luminanceCdM2Max);
    const rows = this.#all(
      `SELECT record FROM frames WHERE ${conditions.join(" AND ")}
       ORDER BY opened_utc_ms, frame_index LIMIT ?`,
      ...values,
      query.limit ?? -1,
    );
    return (rows as FrameRow[]).map(toRecord);
  }

  frameCount(cameraId?: string): number {
    const row =
      cameraId === undefined
        ? this.#get("SELECT count(*) AS n FROM frames")
        : this.#get("SELECT count(*) AS n FROM frames WHERE camera_id = ?", cameraId);
    return (row as { n: number }).n;
  }

  /** Cameras that have at least one frame, in alphabetical order. */
  cameraIds(): string[] {
    const rows = this.#all("SELECT DISTINCT camera_id AS id FROM frames ORDER BY camera_id");
    return (rows as { id: string }[]).map((row) => row.id);
  }

  /** The frame with the highest index, whatever its status. */
  newest(cameraId: string): FrameRecord | null {
    const row = this.#get(
      "SELECT record FROM frames WHERE camera_id = ? ORDER BY frame_index DESC LIMIT 1",
      cameraId,
    ) as FrameRow | undefined;
    return row === undefined ? null : toRecord(row);
  }

  /** The newest frame whose file is whole on the disk. */
  newestKept(cameraId: string): FrameRecord | null {
    const row = this.#get(
      `SELECT record FROM frames WHERE camera_id = ? AND status = 'kept'
       ORDER BY frame_index DESC LIMIT 1`,
      cameraId,
    ) as FrameRow | undefined;
    return row === undefined ? null : toRecord(row);
  }

  /** The index that the camera's next frame will have. */
  nextFrameIndex(cameraId: string): number {
    return (this.newest(cameraId)?.frameIndex ?? -1) + 1;
  }

  /** Keeps the frame's share of the night strip; a null part leaves what is there. */
  putSlice(cameraId: string, frameIndex: number, slice: FrameSlice): void {
    this.transaction(() => {
      if (slice.thumbnailJpeg !== null) {
        this.#run(
          "INSERT OR REPLACE INTO slices (camera_id, frame_index, thumbnail) VALUES (?, ?, ?)",
          cameraId,
          frameIndex,
          slice.thumbnailJpeg,
        );
      }
      if (slice.column !== null) {
        this.#run(
          "INSERT OR REPLACE INTO sky_columns (camera_id, frame_index, sky_column) VALUES (?, ?, ?)",
          cameraId,
          frameIndex,
          slice.column,
        );
      }
    });
  }

  thumbnail(cameraId: string, frameIndex: number): Uint8Array | null {
    const row = this.#get(
      "SELECT thumbnail FROM slices WHERE camera_id = ? AND frame_index = ?",
      cameraId,
      frameIndex,
    ) as { thumbnail: Uint8Array | null } | undefined;
    return row?.thumbnail ?? null;
  }

  /** Keogram columns by rising index, at most `count` from `fromIndex`. */
  columns(fromIndex: number, count: number, cameraId?: string): StoredColumn[] {
    const select = `SELECT camera_id AS cameraId, frame_index AS frameIndex, sky_column AS "column"
                    FROM sky_columns WHERE frame_index >= ?`;
    const rows =
      cameraId === undefined
        ? this.#all(`${select} ORDER BY frame_index, camera_id LIMIT ?`, fromIndex, count)
        : this.#all(
            `${select} AND camera_id = ? ORDER BY frame_index LIMIT ?`,
            fromIndex,
            cameraId,
            count,
          );
    return rows as StoredColumn[];
  }

  /**
   * What delivering measured of a frame's pixels, if it was made of the same file and tone curve.
   *
   * @param madeOf  Names file and method; any change of it asks for a new measure.
   */
  measure(cameraId: string, frameIndex: number, madeOf: string): StoredMeasure | null {
    const row = this.#get(
      `SELECT measure, sky_column AS "column", thumbnail AS thumbnailJpeg FROM measures
       WHERE camera_id = ? AND frame_index = ? AND made_of = ?`,
      cameraId,
      frameIndex,
      madeOf,
    ) as { measure: string; column: Uint8Array; thumbnailJpeg: Uint8Array } | undefined;
    return row === undefined ? null : { ...row, measure: JSON.parse(row.measure) as unknown };
  }

  putMeasure(cameraId: string, frameIndex: number, madeOf: string, stored: StoredMeasure): void {
    this.#run(
      `INSERT OR REPLACE INTO measures
         (camera_id, frame_index, made_of, measure, sky_column, thumbnail)
       VALUES (?, ?, ?, ?, ?, ?)`,
      cameraId,
      frameIndex,
      madeOf,
      JSON.stringify(stored.measure),
      stored.column,
      stored.thumbnailJpeg,
    );
  }

  /** What was measured of every frame, without its pictures, by rising index. */
  measures(): { cameraId: string; frameIndex: number; measure: unknown }[] {
    const rows = this.#all(
      `SELECT camera_id AS cameraId, frame_index AS frameIndex, measure FROM measures
       ORDER BY frame_index, camera_id`,
    ) as { cameraId: string; frameIndex: number; measure: string }[];
    return rows.map((row) => ({ ...row, measure: JSON.parse(row.measure) as unknown }));
  }

  /** Keeps the photographer's word on a frame; null takes it back. */
  setPick(
    cameraId: string,
    frameIndex: number,
    word: { pick: "keep" | "leave"; rating: number | null } | null,
  ): void {
    this.#flushed(() => {
      if (word === null) {
        this.#run(
          "DELETE FROM picks WHERE camera_id = ? AND frame_index = ?",
          cameraId,
          frameIndex,
        );
        return;
      }
      this.#run(
        `INSERT INTO picks (camera_id, frame_index, pick, rating) VALUES (?, ?, ?, ?)
         ON CONFLICT (camera_id, frame_index) DO UPDATE SET pick = excluded.pick, rating = excluded.rating`,
        cameraId,
        frameIndex,
        word.pick,
        word.rating,
      );
    });
  }

  picks(): Pick[] {
    return this.#all(
      `SELECT camera_id AS cameraId, frame_index AS frameIndex, pick, rating FROM picks
       ORDER BY frame_index, camera_id`,
    ) as Pick[];
  }

  /** Keeps something by name: settings, seed, versions, the tone response. */
  setState(key: string, value: unknown): void {
    this.#run(
      `INSERT INTO state (key, value) VALUES (?, ?)
       ON CONFLICT (key) DO UPDATE SET value = excluded.value`,
      key,
      JSON.stringify(value ?? null),
    );
  }

  /** What was kept under this name; null when nothing was. The caller says what it should be. */
  getState<T>(key: string): T | null {
    const row = this.#get("SELECT value FROM state WHERE key = ?", key) as
      { value: string } | undefined;
    return row === undefined ? null : (JSON.parse(row.value) as T);
  }

  /** Several writes, all or none, in one commit. */
  transaction(steps: () => void): void {
    onDisk(this.#path, () => {
      if (this.#database.inTransaction) steps();
      else this.#database.transaction(steps)();
    });
  }

  /** Makes everything written so far outlive a power cut. */
  flush(): void {
    this.#flushed(() => {
      this.setState("flushed", true);
    });
  }

  /** SQLite's own check; an empty list when the file is sound. */
  integrityProblems(): string[] {
    const rows = this.#database.pragma("integrity_check") as { integrity_check: string }[];
    return rows.map((row) => row.integrity_check).filter((line) => line !== "ok");
  }

  /** Writes a whole copy of the catalogue, also while it is being written to. */
  async copyTo(path: string): Promise<void> {
    try {
      await this.#database.backup(path);
    } catch (thrown) {
      throw archiveError(thrown, path);
    }
  }

  /** Folds the log into the file and closes it. Safe to call twice. */
  close(): void {
    if (!this.#database.open) return;
    this.#statements.clear();
    this.#database.close();
  }

  #writeFrame(record: FrameRecord): void {
    this.#run(
      `INSERT INTO frames (camera_id, frame_index, status, opened_utc_ms, luminance_cd_m2, record)
       VALUES (?, ?, ?, ?, ?, ?)
       ON CONFLICT (camera_id, frame_index) DO UPDATE SET
         status = excluded.status, opened_utc_ms = excluded.opened_utc_ms,
         luminance_cd_m2 = excluded.luminance_cd_m2, record = excluded.record`,
      record.cameraId,
      record.frameIndex,
      record.status,
      record.openedUtcMs,
      record.reading?.skyLuminanceCdM2 ?? null,
      JSON.stringify(record),
    );
  }

  /** The flush is asked for commit by commit: the pragma costs microseconds, a flush milliseconds. */
  #flushed(step: () => void): void {
    if (this.#database.inTransaction) return step();
    this.#database.pragma("synchronous = FULL");
    try {
      step();
    } finally {
      this.#database.pragma("synchronous = NORMAL");
    }
  }

  #statement(sql: string): Statement {
    const known = this.#statements.get(sql);
    if (known !== undefined) return known;
    const made = this.#database.prepare(sql);
    this.#statements.set(sql, made);
    return made;
  }

  #run(sql: string, ...values: unknown[]): void {
    onDisk(this.#path, () => this.#statement(sql).run(...values));
  }

  #get(sql: string, ...values: unknown[]): unknown {
    return onDisk(this.#path, () => this.#statement(sql).get(...values));
  }

  #all(sql: string, ...values: unknown[]): unknown[] {
    return onDisk(this.#path, () => this.#statement(sql).all(...values));
  }

  #page<Row>(statement: Statement, name: string, from: number): Row[] {
    return onDisk(`${this.#path} (${name})`, () => {
      const rows: Row[] = [];
      for (const row of statement.iterate(from)) {
        rows.push(row as Row);
        if (rows.length === PAGE) break;
      }
      return rows;
    });
  }
}

const PAGE = 1000;

function toRecord(row: FrameRow): FrameRecord {
  return JSON.parse(row.record) as FrameRecord;
}

function prepareForWriting(database: Database): void {
  database.pragma("journal_mode = WAL");
  database.pragma("synchronous = NORMAL");
  database.pragma("busy_timeout = 5000");
}

function openForWriting(path: string): Database {
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

/**
 * Opens without ever writing to the night's folder.
 *
 * SQLite wants to lay its shared-memory file beside a WAL database even to read it; on a disk that
 * refuses that, and for a catalogue that still needs migrating, a copy in memory is read instead.
 */
function openForReading(path: string): Database {
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
