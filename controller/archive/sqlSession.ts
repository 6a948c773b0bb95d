import type { Database, Statement } from "better-sqlite3";
import { archiveError, onDisk } from "./archiveError.ts";

/**
 * An open catalogue as its tables see it: statements by their text, each prepared once, every
 * failure as `archive.*`.
 */
export class SqlSession {
  readonly #path: string;
  readonly #database: Database;
  readonly #statements = new Map<string, Statement>();

  constructor(path: string, database: Database) {
    this.#path = path;
    this.#database = database;
  }

  run(sql: string, ...values: unknown[]): void {
    onDisk(this.#path, () => this.#statement(sql).run(...values));
  }

  /** The first row; the caller says what it holds. */
  get<Row>(sql: string, ...values: unknown[]): Row | undefined {
    return onDisk(this.#path, () => this.#statement(sql).get(...values)) as Row | undefined;
  }

  all<Row>(sql: string, ...values: unknown[]): Row[] {
    return onDisk(this.#path, () => this.#statement(sql).all(...values)) as Row[];
  }

  /** Several writes, all or none, in one commit. */
  transaction(steps: () => void): void {
    onDisk(this.#path, () => {
      if (this.#database.inTransaction) steps();
      else this.#database.transaction(steps)();
    });
  }

  /** A commit with its flush: the pragma costs microseconds, a flush milliseconds. */
  flushed(step: () => void): void {
    if (this.#database.inTransaction) return step();
    this.#database.pragma("synchronous = FULL");
    try {
      step();
    } finally {
      this.#database.pragma("synchronous = NORMAL");
    }
  }

  /** SQLite's own check; an empty list when the file is sound. */
  integrityProblems(): string[] {
    const rows = this.#database.pragma("integrity_check") as { integrity_check: string }[];
    return rows.map((row) => row.integrity_check).filter((line) => line !== "ok");
  }

  async copyTo(path: string): Promise<void> {
    try {
      await this.#database.backup(path);
    } catch (thrown) {
      throw archiveError(thrown, path);
    }
  }

  /** Safe to call twice. */
  close(): void {
    if (!this.#database.open) return;
    this.#statements.clear();
    this.#database.close();
  }

  #statement(sql: string): Statement {
    const known = this.#statements.get(sql);
    if (known !== undefined) return known;
    const made = this.#database.prepare(sql);
    this.#statements.set(sql, made);
    return made;
  }
}
