import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import type { SqlSession } from "./sqlSession.ts";

/** Conditions of a search; what is left out is no condition. */
export type FrameQuery = {
  readonly cameraId?: string;
  readonly fromUtcMs?: number;
  readonly toUtcMs?: number;
  readonly luminanceCdM2Min?: number;
  readonly luminanceCdM2Max?: number;
  readonly limit?: number;
};

/** A stretch of frames by rising index; of all cameras when none is named. */
export type FramePage = {
  readonly cameraId?: string | undefined;
  readonly fromIndex: number;
  readonly count: number;
};

type FrameRow = { readonly record: string };

/** Inserts or updates a frame by its camera and index. */
export function writeFrame(sql: SqlSession, record: FrameRecord): void {
  sql.run(
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

export function selectFrame(
  sql: SqlSession,
  cameraId: string,
  frameIndex: number,
): FrameRecord | null {
  const select = "SELECT record FROM frames WHERE camera_id = ? AND frame_index = ?";
  return recordOrNull(sql.get<FrameRow>(select, cameraId, frameIndex));
}

export function selectFrames(
  sql: SqlSession,
  { cameraId, fromIndex, count }: FramePage,
): FrameRecord[] {
  const rows =
    cameraId === undefined
      ? sql.all<FrameRow>(
          "SELECT record FROM frames WHERE frame_index >= ? ORDER BY frame_index, camera_id LIMIT ?",
          ...[fromIndex, count],
        )
      : sql.all<FrameRow>(
          "SELECT record FROM frames WHERE camera_id = ? AND frame_index >= ? ORDER BY frame_index LIMIT ?",
          ...[cameraId, fromIndex, count],
        );
  return rows.map(toRecord);
}

/** Frames by time of opening that meet every condition given. */
export function searchFrames(sql: SqlSession, query: FrameQuery): FrameRecord[] {
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
  const rows = sql.all<FrameRow>(
    `SELECT record FROM frames WHERE ${conditions.join(" AND ")}
     ORDER BY opened_utc_ms, frame_index LIMIT ?`,
    ...values,
    query.limit ?? -1,
  );
  return rows.map(toRecord);
}

export function countFrames(sql: SqlSession, cameraId: string | undefined): number {
  const row =
    cameraId === undefined
      ? sql.get<{ n: number }>("SELECT count(*) AS n FROM frames")
      : sql.get<{ n: number }>("SELECT count(*) AS n FROM frames WHERE camera_id = ?", cameraId);
  return row!.n;
}

export function selectCameraIds(sql: SqlSession): string[] {
  const rows = sql.all<{ id: string }>(
    "SELECT DISTINCT camera_id AS id FROM frames ORDER BY camera_id",
  );
  return rows.map((row) => row.id);
}

/** The frame with the highest index. */
export function selectNewest(sql: SqlSession, cameraId: string): FrameRecord | null {
  const select = `SELECT record FROM frames WHERE camera_id = ?
                  ORDER BY frame_index DESC LIMIT 1`;
  return recordOrNull(sql.get<FrameRow>(select, cameraId));
}

export function selectNewestKept(sql: SqlSession, cameraId: string): FrameRecord | null {
  const select = `SELECT record FROM frames WHERE camera_id = ? AND status = 'kept'
                  ORDER BY frame_index DESC LIMIT 1`;
  return recordOrNull(sql.get<FrameRow>(select, cameraId));
}

function recordOrNull(row: FrameRow | undefined): FrameRecord | null {
  return row === undefined ? null : toRecord(row);
}

function toRecord(row: FrameRow): FrameRecord {
  return JSON.parse(row.record) as FrameRecord;
}
