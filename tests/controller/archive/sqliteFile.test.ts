import { chmodSync, readdirSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { describe, expect, it, onTestFinished } from "vitest";
import { SqliteFile, sqliteCodeOf, type Access } from "../../../controller/archive/sqliteFile.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const ROW_COUNT = 500;

function open(path: string, access: Access, busyTimeoutMs?: number): SqliteFile {
  const file = SqliteFile.open(path, access, busyTimeoutMs);
  onTestFinished(() => file.close());
  return file;
}

/** A file in WAL mode with a table of numbered rows. */
function openWithRows(path: string): SqliteFile {
  const file = open(path, "create");
  file.setPragma("journal_mode", "WAL");
  file.exec("CREATE TABLE night.rows (n INTEGER PRIMARY KEY, text TEXT NOT NULL)");
  file.transaction(() => {
    for (let n = 1; n <= ROW_COUNT; n += 1) file.run("INSERT INTO rows VALUES (?, ?)", n, "x");
  });
  return file;
}

function countOf(file: SqliteFile): unknown {
  return (file.get("SELECT count(*) AS n FROM rows") as { n: number }).n;
}

function codeOf(step: () => unknown): string | null {
  try {
    step();
  } catch (thrown) {
    return sqliteCodeOf(thrown);
  }
  throw new Error("The step was meant to fail.");
}

describe("a SQLite file", () => {
  it("leaves no log beside it once closed, whatever statements were prepared", () => {
    const path = join(temporaryFolder(), "a night's #1 (50 %) föhn?.sqlite");
    const file = openWithRows(path);
    const reader = open(path, "read");
    expect(countOf(reader)).toBe(ROW_COUNT);
    expect(readdirSync(dirname(path))).toHaveLength(3);
    reader.close();
    file.close();
    expect(readdirSync(dirname(path))).toEqual(["a night's #1 (50 %) föhn?.sqlite"]);
  });

  it("names a lock, a missing file, a foreign file and a forbidden write by SQLite's own codes", () => {
    const path = join(temporaryFolder(), "rows.sqlite");
    const file = openWithRows(path);
    file.exec("BEGIN IMMEDIATE");
    const second = open(path, "write");
    expect(codeOf(() => second.exec("BEGIN IMMEDIATE"))).toBe("SQLITE_BUSY");
    file.exec("COMMIT");
    const reader = open(path, "read");
    expect(codeOf(() => reader.run("DELETE FROM rows"))).toBe("SQLITE_READONLY");
    expect(codeOf(() => SqliteFile.open(`${path}.not`, "write"))).toBe("SQLITE_CANTOPEN");
    const foreign = join(temporaryFolder(), "foreign.sqlite");
    writeFileSync(foreign, "no database, however long".repeat(99));
    expect(codeOf(() => open(foreign, "read").pragma("user_version"))).toBe("SQLITE_NOTADB");
    file.exec("PRAGMA night.max_page_count = 1");
    const fill = (): void => file.run("INSERT INTO rows VALUES (1000, ?)", "x".repeat(100_000));
    expect(codeOf(fill)).toBe("SQLITE_FULL");
    expect(sqliteCodeOf(Object.assign(new Error("write"), { code: "ENOSPC" }))).toBeNull();
  });

  it("takes a transaction back whole when a step fails, the inner one with the outer", () => {
    const file = openWithRows(join(temporaryFolder(), "rows.sqlite"));
    const steps = (): void => {
      file.run("DELETE FROM rows WHERE n <= 10");
      file.transaction(() => file.run("DELETE FROM rows WHERE n <= 20"));
      throw new Error("the step after it failed");
    };
    expect(() => file.transaction(steps)).toThrow("the step after it failed");
    expect(file.isInTransaction).toBe(false);
    expect(countOf(file)).toBe(ROW_COUNT);
  });

  it("is copied to another file whole while rows are being written", async () => {
    const folder = temporaryFolder();
    const file = openWithRows(join(folder, "rows.sqlite"));
    const copying = file.copyTo(join(folder, "copy.sqlite"));
    for (let n = 1; n <= 100; n += 1) file.run("INSERT INTO rows VALUES (?, ?)", 1000 + n, "late");
    await copying;
    const copy = open(join(folder, "copy.sqlite"), "read");
    expect(copy.pragma("integrity_check")).toBe("ok");
    expect(countOf(copy)).toBeGreaterThanOrEqual(ROW_COUNT);
    expect(countOf(file)).toBe(ROW_COUNT + 100);
  });

  it("is read without a lock or a file beside it when frozen, and changes only in its copy in memory", () => {
    const path = join(temporaryFolder(), "rows.sqlite");
    const file = openWithRows(path);
    file.setPragma("user_version", 7);
    file.close();
    chmodSync(path, 0o400);
    const frozen = open(path, "frozen");
    const copies = [frozen.copyInMemory(), frozen.copyInMemory()];
    onTestFinished(() => copies.forEach((copy) => copy.close()));
    copies[0]!.run("DELETE FROM rows WHERE n <= 10");
    expect([frozen, ...copies].map(countOf)).toEqual([ROW_COUNT, ROW_COUNT - 10, ROW_COUNT]);
    expect(copies[0]!.pragma("user_version")).toBe(7);
    expect(readdirSync(dirname(path))).toEqual(["rows.sqlite"]);
  });
});
