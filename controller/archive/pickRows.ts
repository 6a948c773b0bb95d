import type { SqlSession } from "./sqlSession.ts";

/** The photographer's own word on a frame: it outranks every score. */
export type Pick = {
  readonly cameraId: string;
  readonly frameIndex: number;
  readonly pick: "keep" | "leave";
  /** 1..5 stars; null: none given. */
  readonly rating: number | null;
};

export function writePick(sql: SqlSession, { cameraId, frameIndex, pick, rating }: Pick): void {
  sql.run(
    `INSERT INTO picks (camera_id, frame_index, pick, rating) VALUES (?, ?, ?, ?)
     ON CONFLICT (camera_id, frame_index) DO UPDATE SET pick = excluded.pick, rating = excluded.rating`,
    ...[cameraId, frameIndex, pick, rating],
  );
}

export function deletePick(sql: SqlSession, cameraId: string, frameIndex: number): void {
  sql.run("DELETE FROM picks WHERE camera_id = ? AND frame_index = ?", cameraId, frameIndex);
}

export function selectPicks(sql: SqlSession): Pick[] {
  return sql.all(
    `SELECT camera_id AS cameraId, frame_index AS frameIndex, pick, rating FROM picks
     ORDER BY frame_index, camera_id`,
  );
}
