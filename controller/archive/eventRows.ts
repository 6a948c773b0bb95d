import type { MonotonicMs, UtcMs } from "../../core/units.ts";
import type { SqlSession } from "./sqlSession.ts";

/** One thing that happened in the watch, in the order in which the watch took it in. */
export type WatchLogEvent = {
  readonly atMs: MonotonicMs;
  readonly utcMs: UtcMs;
  readonly kind: string;
  /** Anything that JSON can carry. */
  readonly body: unknown;
};

/** An event with its place in the order. */
export type StoredEvent = WatchLogEvent & { readonly position: number };

type EventRow = {
  readonly position: number;
  readonly at_ms: number;
  readonly utc_ms: number;
  readonly kind: string;
  readonly body: string;
};

/** Events that are read at once. */
const PAGE = 1000;

export function insertEvent(sql: SqlSession, { atMs, utcMs, kind, body }: WatchLogEvent): void {
  sql.run(
    "INSERT INTO events (at_ms, utc_ms, kind, body) VALUES (?, ?, ?, ?)",
    ...[atMs, utcMs, kind, JSON.stringify(body ?? null)],
  );
}

/** Every event in order; in pages, because an open cursor would block writes of the same session. */
export function* selectEvents(sql: SqlSession, fromPosition: number): Iterable<StoredEvent> {
  const select = "SELECT * FROM events WHERE position >= ? ORDER BY position LIMIT ?";
  let from = fromPosition;
  for (;;) {
    const page = sql.all<EventRow>(select, from, PAGE);
    yield* page.map(toEvent);
    if (page.length < PAGE) return;
    from = page.at(-1)!.position + 1;
  }
}

/** Events of some kinds in order, few in a night. */
export function selectEventsOf(sql: SqlSession, kinds: readonly string[]): StoredEvent[] {
  const places = kinds.map(() => "?").join(", ");
  const select = `SELECT * FROM events WHERE kind IN (${places}) ORDER BY position`;
  return sql.all<EventRow>(select, ...kinds).map(toEvent);
}

export function lastEventUtcMs(sql: SqlSession): UtcMs | null {
  return sql.get<{ utc: UtcMs | null }>("SELECT max(utc_ms) AS utc FROM events")!.utc;
}

export function countEvents(sql: SqlSession): number {
  return sql.get<{ n: number }>("SELECT count(*) AS n FROM events")!.n;
}

function toEvent({ position, at_ms, utc_ms, kind, body }: EventRow): StoredEvent {
  return {
    ...{ position, kind, atMs: at_ms as MonotonicMs, utcMs: utc_ms as UtcMs },
    body: JSON.parse(body) as unknown,
  };
}
