import { archiveError, onDisk } from "./archiveError.ts";
import type { SqliteFile } from "./sqliteFile.ts";

/** An open catalogue as its tables see it: every failure comes out as `archive.*`. */
export class SqlSession {
  readonly #path: string;
  readonly #file: SqliteFile;

  constructor(path: string, file: SqliteFile) {
    this.#path = path;
    this.#file = file;
  }

  run(sql: string, ...values: unknown[]): void {
    onDisk(this.#path, () => this.#file.run(sql, ...values));
  }

  /** The first row; the caller says what it holds. */
  get<Row>(sql: string, ...values: unknown[]): Row | undefined {
    return onDisk(this.#path, () => this.#file.get(sql, ...values)) as Row | undefined;
  }

  all<Row>(sql: string, ...values: unknown[]): Row[] {
    return onDisk(this.#path, () => this.#file.all(sql, ...values)) as Row[];
  }

  /** Several writes, all or none, in one commit. */
  transaction(steps: () => void): void {
    onDisk(this.#path, () => this.#file.transaction(steps));
  }

  /** A commit with its flush: the pragma costs microseconds, a flush milliseconds. */
  flushed(step: () => void): void {
    if (this.#file.isInTransaction) return step();
    this.#file.setPragma("synchronous", "FULL");
    try {
      step();
    } finally {
      this.#file.setPragma("synchronous", "NORMAL");
    }
  }

  /** SQLite's own check; an empty list when the file is sound. */
  integrityProblems(): string[] {
    const rows = this.all<{ integrity_check: string }>("PRAGMA night.integrity_check");
    return rows.map((row) => row.integrity_check).filter((line) => line !== "ok");
  }

  async copyTo(path: string): Promise<void> {
    try {
      await this.#file.copyTo(path);
    } catch (thrown) {
      throw archiveError(thrown, path);
    }
  }

  /** Safe to call twice. */
  close(): void {
    this.#file.close();
  }
}
