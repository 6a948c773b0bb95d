import type { Stray } from "../../core/frames/stray.ts";
import type { SqlSession } from "./sqlSession.ts";

export function writeStray(sql: SqlSession, stray: Stray): void {
  sql.run(
    `INSERT INTO strays (path, record) VALUES (?, ?)
     ON CONFLICT (path) DO UPDATE SET record = excluded.record`,
    ...[stray.file.path, JSON.stringify(stray)],
  );
}

export function selectStrays(sql: SqlSession): Stray[] {
  return sql
    .all<{ record: string }>("SELECT record FROM strays ORDER BY path")
    .map(({ record }) => JSON.parse(record) as Stray);
}
