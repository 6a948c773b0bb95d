import { randomUUID } from "node:crypto";
import { pathToFileURL } from "node:url";
import {
  DatabaseSync,
  backup,
  type DatabaseSyncInstance,
  type StatementSyncInstance,
} from "@photostructure/sqlite";

/** What may be done to the file; "frozen" promises that nobody else touches it and takes no lock. */
export type Access = "create" | "write" | "read" | "frozen";

const URI_PARAMETERS: Readonly<Record<Access, Readonly<Record<string, string>>>> = {
  create: { mode: "rwc" },
  write: { mode: "rw" },
  read: { mode: "ro" },
  frozen: { mode: "ro", immutable: "1" },
};

/** The schema name under which the file is attached; a table's or pragma's full name begins with it. */
const SCHEMA = "night";

/** SQLite keeps 2 MB of pages in memory by itself; a long night's strip reads from more. */
const CACHE_KIB = 16_000;

/** Result codes that mean something to the archive. Source: sqlite.org/rescode.html. */
const RESULT_NAMES: ReadonlyMap<number, string> = new Map([
  [5, "SQLITE_BUSY"],
  [8, "SQLITE_READONLY"],
  [10, "SQLITE_IOERR"],
  [11, "SQLITE_CORRUPT"],
  [13, "SQLITE_FULL"],
  [14, "SQLITE_CANTOPEN"],
  [26, "SQLITE_NOTADB"],
]);

/** SQLite's name for a failure, without its details; null for an error that is not SQLite's. */
export function sqliteCodeOf(thrown: unknown): string | null {
  if (!(thrown instanceof Error) || !("errcode" in thrown)) return null;
  // The low byte is the plain code; an extended code adds the details above it.
  return RESULT_NAMES.get(Number(thrown.errcode) & 0xff) ?? null;
}

/**
 * One open SQLite file, and the only place that knows which SQLite it is.
 *
 * The file is attached to an empty database in memory, because closing a connection of this library
 * leaves its prepared statements, and with them the file, its locks and its log, to the garbage
 * collector. Detaching folds the log in and closes the file at once.
 */
export class SqliteFile {
  readonly #database: DatabaseSyncInstance;
  readonly #statements = new Map<string, StatementSyncInstance>();

  /** @param busyTimeoutMs  How long a step waits for another connection's lock. */
  static open(path: string, access: Access, busyTimeoutMs = 0): SqliteFile {
    const uri = pathToFileURL(path);
    for (const [name, value] of Object.entries(URI_PARAMETERS[access])) {
      uri.searchParams.set(name, value);
    }
    return new SqliteFile(uri.href, busyTimeoutMs);
  }

  private constructor(uri: string, busyTimeoutMs: number) {
    this.#database = new DatabaseSync(":memory:", { timeout: busyTimeoutMs });
    try {
      this.exec(`ATTACH ${quoted(uri)} AS ${SCHEMA}`);
      this.exec(`PRAGMA ${SCHEMA}.cache_size = -${CACHE_KIB}`);
    } catch (thrown) {
      this.#database.close();
      throw thrown;
    }
  }

  get isOpen(): boolean {
    return this.#database.isOpen;
  }

  /** Statements without values, by full names: `CREATE TABLE night.frames (…)`. */
  exec(sql: string): void {
    this.#database.exec(sql);
  }

  run(sql: string, ...values: readonly unknown[]): void {
    this.#statement(sql).run(...values);
  }

  get(sql: string, ...values: readonly unknown[]): unknown {
    return this.#statement(sql).get(...values);
  }

  all(sql: string, ...values: readonly unknown[]): unknown[] {
    return this.#statement(sql).all(...values);
  }

  /** The first value that a pragma answers with. */
  pragma(name: string): unknown {
    const row = this.get(`PRAGMA ${SCHEMA}.${name}`) as Record<string, unknown> | undefined;
    return row && Object.values(row)[0];
  }

  setPragma(name: string, value: string | number): void {
    this.exec(`PRAGMA ${SCHEMA}.${name} = ${value}`);
  }

  /** Several writes, all or none; inside another transaction they are part of it. */
  transaction(steps: () => void): void {
    if (this.isInTransaction) {
      steps();
      return;
    }
    this.exec("BEGIN");
    try {
      steps();
      this.exec("COMMIT");
    } catch (thrown) {
      // SQLite has rolled back by itself after a full disk and some other failures.
      if (this.isInTransaction) this.exec("ROLLBACK");
      throw thrown;
    }
  }

  get isInTransaction(): boolean {
    return this.#database.isTransaction;
  }

  /** Writes a whole copy to a file, also while this one is being written to. */
  async copyTo(path: string): Promise<void> {
    await backup(this.#database, path, { source: SCHEMA });
  }

  /** A copy in memory that may be changed. */
  copyInMemory(): SqliteFile {
    // A database of this file system lives as long as a connection to it does.
    const uri = `file:/${randomUUID()}?vfs=memdb`;
    const copy = new SqliteFile(uri, 0);
    try {
      this.exec(`VACUUM ${SCHEMA} INTO ${quoted(uri)}`);
      return copy;
    } catch (thrown) {
      copy.close();
      throw thrown;
    }
  }

  /** Gives up an open transaction, folds the log into the file and closes it. Safe to call twice. */
  close(): void {
    if (!this.isOpen) return;
    this.#statements.clear();
    try {
      if (this.isInTransaction) this.exec("ROLLBACK");
      this.exec(`DETACH ${SCHEMA}`);
    } finally {
      this.#database.close();
    }
  }

  #statement(sql: string): StatementSyncInstance {
    const known = this.#statements.get(sql);
    if (known !== undefined) return known;
    const made = this.#database.prepare(sql);
    this.#statements.set(sql, made);
    return made;
  }
}

function quoted(text: string): string {
  return `'${text.replaceAll("'", "''")}'`;
}
