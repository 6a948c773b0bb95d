import { existsSync } from "node:fs";
import { join } from "node:path";
import { NightError } from "../../core/errors.ts";
import type { Stray } from "../../core/frames/stray.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import type { UtcMs } from "../../core/units.ts";
import { createFile, openForReading, openForWriting } from "./catalogueFile.ts";
import * as events from "./eventRows.ts";
import * as frames from "./frameRows.ts";
import type { NightInfo } from "./nightInfo.ts";
import * as picks from "./pickRows.ts";
import * as sky from "./skyRows.ts";
import * as strays from "./strayRows.ts";
import { SqlSession } from "./sqlSession.ts";

export const CATALOGUE_FILE = "catalogue.sqlite";

/**
 * The truth about one night: every event, frame, reading and reason, in one SQLite file.
 *
 * Written in WAL mode. Events are committed without a flush (they survive the death of the
 * process); a frame's row is committed with one, and a flush of the log carries every event before
 * it along, so that a frame which the page has shown outlives a power cut as well.
 */
export class Catalogue {
  readonly nightDir: string;
  readonly #sql: SqlSession;

  private constructor(nightDir: string, sql: SqlSession) {
    this.nightDir = nightDir;
    this.#sql = sql;
  }

  /** Makes the catalogue of a new night. @throws NightError `archive.*`. */
  static create(nightDir: string, night: NightInfo): Catalogue {
    const path = join(nightDir, CATALOGUE_FILE);
    const catalogue = new Catalogue(nightDir, new SqlSession(path, createFile(path)));
    catalogue.setState("night", night);
    catalogue.flush();
    return catalogue;
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
    return new Catalogue(nightDir, new SqlSession(path, database));
  }

  /** Adds an event after all earlier ones. */
  appendEvent(event: events.WatchLogEvent): void {
    events.insertEvent(this.#sql, event);
  }

  /** Every event in order; reads as it goes, so that a long night fits in memory. */
  events(options: { fromPosition?: number } = {}): Iterable<events.StoredEvent> {
    return events.selectEvents(this.#sql, options.fromPosition ?? 0);
  }

  /** Events of some kinds in order, for those of which a night holds few. */
  eventsOf(kinds: readonly string[]): readonly events.StoredEvent[] {
    return events.selectEventsOf(this.#sql, kinds);
  }

  /** Night time of the newest event; null: nothing has happened yet. */
  lastEventUtcMs(): UtcMs | null {
    return events.lastEventUtcMs(this.#sql);
  }

  eventCount(): number {
    return events.countEvents(this.#sql);
  }

  /** Inserts or updates a frame by its camera and index, and flushes it to the disk. */
  putFrame(record: FrameRecord): void {
    this.#sql.flushed(() => {
      frames.writeFrame(this.#sql, record);
    });
  }

  /** Several frames in one commit and one flush. */
  putFrames(records: readonly FrameRecord[]): void {
    this.#sql.flushed(() => {
      this.transaction(() => {
        for (const record of records) frames.writeFrame(this.#sql, record);
      });
    });
  }

  frame(cameraId: string, frameIndex: number): FrameRecord | null {
    return frames.selectFrame(this.#sql, cameraId, frameIndex);
  }

  /** Frames by rising index, at most `count` from `fromIndex`; of all cameras when none is named. */
  frames(page: frames.FramePage): FrameRecord[] {
    return frames.selectFrames(this.#sql, page);
  }

  /** Frames by time of opening that meet every condition given. */
  find(query: frames.FrameQuery): FrameRecord[] {
    return frames.searchFrames(this.#sql, query);
  }

  frameCount(cameraId?: string): number {
    return frames.countFrames(this.#sql, cameraId);
  }

  /** Cameras that have at least one frame, in alphabetical order. */
  cameraIds(): string[] {
    return frames.selectCameraIds(this.#sql);
  }

  /** The frame with the highest index, whatever its status. */
  newest(cameraId: string): FrameRecord | null {
    return frames.selectNewest(this.#sql, cameraId);
  }

  /** The newest frame whose file is whole on the disk. */
  newestKept(cameraId: string): FrameRecord | null {
    return frames.selectNewestKept(this.#sql, cameraId);
  }

  /** The index that the camera's next frame will have. */
  nextFrameIndex(cameraId: string): number {
    return (this.newest(cameraId)?.frameIndex ?? -1) + 1;
  }

  /** Keeps the frame's share of the night strip; a null part leaves what is there. */
  putSlice(cameraId: string, frameIndex: number, slice: sky.FrameSlice): void {
    this.transaction(() => {
      sky.writeSlice(this.#sql, cameraId, frameIndex, slice);
    });
  }

  thumbnail(cameraId: string, frameIndex: number): Uint8Array | null {
    return sky.selectThumbnail(this.#sql, cameraId, frameIndex);
  }

  /** Keogram columns by rising index, at most `count` from `fromIndex`. */
  columns(fromIndex: number, count: number, cameraId?: string): sky.StoredColumn[] {
    return sky.selectColumns(this.#sql, fromIndex, count, cameraId);
  }

  /**
   * What delivering measured of a frame's pixels, if it was made of the same file and tone curve.
   *
   * @param madeOf  Names file and method; any change of it asks for a new measure.
   */
  measure(cameraId: string, frameIndex: number, madeOf: string): sky.StoredMeasure | null {
    return sky.selectMeasure(this.#sql, cameraId, frameIndex, madeOf);
  }

  putMeasure(
    cameraId: string,
    frameIndex: number,
    madeOf: string,
    stored: sky.StoredMeasure,
  ): void {
    sky.writeMeasure(this.#sql, cameraId, frameIndex, madeOf, stored);
  }

  /** What was measured of every frame, without its pictures, by rising index. */
  measures(): ReturnType<typeof sky.selectMeasures> {
    return sky.selectMeasures(this.#sql);
  }

  /** Keeps the photographer's word on a frame; null takes it back. */
  setPick(
    cameraId: string,
    frameIndex: number,
    word: { pick: "keep" | "leave"; rating: number | null } | null,
  ): void {
    this.#sql.flushed(() => {
      if (word === null) picks.deletePick(this.#sql, cameraId, frameIndex);
      else picks.writePick(this.#sql, { cameraId, frameIndex, ...word });
    });
  }

  picks(): picks.Pick[] {
    return picks.selectPicks(this.#sql);
  }

  /** Keeps what is known of a picture that is no frame's, and flushes it to the disk. */
  putStray(stray: Stray): void {
    this.#sql.flushed(() => {
      strays.writeStray(this.#sql, stray);
    });
  }

  /** Pictures of the night that are no frame's, in the order in which they were found. */
  strays(): Stray[] {
    return strays.selectStrays(this.#sql);
  }

  /** Keeps something by name: settings, seed, versions, the tone response. */
  setState(key: string, value: unknown): void {
    this.#sql.run(
      `INSERT INTO state (key, value) VALUES (?, ?)
       ON CONFLICT (key) DO UPDATE SET value = excluded.value`,
      key,
      JSON.stringify(value ?? null),
    );
  }

  /** What was kept under this name; null when nothing was. The caller says what it should be. */
  getState<T>(key: string): T | null {
    const row = this.#sql.get<{ value: string }>("SELECT value FROM state WHERE key = ?", key);
    return row === undefined ? null : (JSON.parse(row.value) as T);
  }

  /** Several writes, all or none, in one commit. */
  transaction(steps: () => void): void {
    this.#sql.transaction(steps);
  }

  /** Makes everything written so far outlive a power cut. */
  flush(): void {
    this.#sql.flushed(() => {
      this.setState("flushed", true);
    });
  }

  /** SQLite's own check; an empty list when the file is sound. */
  integrityProblems(): string[] {
    return this.#sql.integrityProblems();
  }

  /** Writes a whole copy of the catalogue, also while it is being written to. */
  copyTo(path: string): Promise<void> {
    return this.#sql.copyTo(path);
  }

  /** Folds the log into the file and closes it. Safe to call twice. */
  close(): void {
    this.#sql.close();
  }
}
