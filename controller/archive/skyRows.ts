import type { SqlSession } from "./sqlSession.ts";

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

/** Keeps what is given; a null part leaves what is there. */
export function writeSlice(
  sql: SqlSession,
  cameraId: string,
  frameIndex: number,
  { thumbnailJpeg, column }: FrameSlice,
): void {
  if (thumbnailJpeg !== null) {
    sql.run(
      "INSERT OR REPLACE INTO slices (camera_id, frame_index, thumbnail) VALUES (?, ?, ?)",
      ...[cameraId, frameIndex, thumbnailJpeg],
    );
  }
  if (column !== null) {
    sql.run(
      "INSERT OR REPLACE INTO sky_columns (camera_id, frame_index, sky_column) VALUES (?, ?, ?)",
      ...[cameraId, frameIndex, column],
    );
  }
}

export function selectThumbnail(
  sql: SqlSession,
  cameraId: string,
  frameIndex: number,
): Uint8Array | null {
  const row = sql.get<{ thumbnail: Uint8Array | null }>(
    "SELECT thumbnail FROM slices WHERE camera_id = ? AND frame_index = ?",
    ...[cameraId, frameIndex],
  );
  return row?.thumbnail ?? null;
}

/** Keogram columns by rising index; of all cameras when none is named. */
export function selectColumns(
  sql: SqlSession,
  fromIndex: number,
  count: number,
  cameraId: string | undefined,
): StoredColumn[] {
  const select = `SELECT camera_id AS cameraId, frame_index AS frameIndex, sky_column AS "column"
                  FROM sky_columns WHERE frame_index >= ?`;
  return cameraId === undefined
    ? sql.all(`${select} ORDER BY frame_index, camera_id LIMIT ?`, fromIndex, count)
    : sql.all(
        `${select} AND camera_id = ? ORDER BY frame_index LIMIT ?`,
        ...[fromIndex, cameraId, count],
      );
}

export function selectMeasure(
  sql: SqlSession,
  cameraId: string,
  frameIndex: number,
  madeOf: string,
): StoredMeasure | null {
  const row = sql.get<StoredMeasure & { readonly measure: string }>(
    `SELECT measure, sky_column AS "column", thumbnail AS thumbnailJpeg FROM measures
     WHERE camera_id = ? AND frame_index = ? AND made_of = ?`,
    ...[cameraId, frameIndex, madeOf],
  );
  return row === undefined ? null : { ...row, measure: JSON.parse(row.measure) as unknown };
}

export function writeMeasure(
  sql: SqlSession,
  cameraId: string,
  frameIndex: number,
  madeOf: string,
  { measure, column, thumbnailJpeg }: StoredMeasure,
): void {
  sql.run(
    `INSERT OR REPLACE INTO measures
       (camera_id, frame_index, made_of, measure, sky_column, thumbnail)
     VALUES (?, ?, ?, ?, ?, ?)`,
    ...[cameraId, frameIndex, madeOf, JSON.stringify(measure), column, thumbnailJpeg],
  );
}

/** What was measured of every frame, without its pictures, by rising index. */
export function selectMeasures(
  sql: SqlSession,
): { cameraId: string; frameIndex: number; measure: unknown }[] {
  const rows = sql.all<{ cameraId: string; frameIndex: number; measure: string }>(
    `SELECT camera_id AS cameraId, frame_index AS frameIndex, measure FROM measures
     ORDER BY frame_index, camera_id`,
  );
  return rows.map((row) => ({ ...row, measure: JSON.parse(row.measure) as unknown }));
}
