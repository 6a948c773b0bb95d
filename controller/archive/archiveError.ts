import { NightError, type ErrorCode } from "../../core/errors.ts";
import { sqliteCodeOf } from "./sqliteFile.ts";

/** Codes of the file system and of SQLite, and what each means to the night. */
const MEANING: Readonly<Record<string, { code: ErrorCode; sentence: (path: string) => string }>> =
  Object.fromEntries([
    ...["ENOSPC", "EDQUOT", "SQLITE_FULL"].map((code) => [
      code,
      {
        code: "archive.disk_full",
        sentence: (path: string) =>
          `The disk is full: ${path} could not be written; free some space.`,
      },
    ]),
    ...[
      "EROFS",
      "EACCES",
      "EPERM",
      "ENOTDIR",
      "EEXIST",
      "EISDIR",
      "SQLITE_READONLY",
      "SQLITE_CANTOPEN",
    ].map((code) => [
      code,
      {
        code: "archive.read_only",
        sentence: (path: string) =>
          `${path} cannot be written; choose a data folder that this user may write to.`,
      },
    ]),
    ...["SQLITE_CORRUPT", "SQLITE_NOTADB"].map((code) => [
      code,
      {
        code: "archive.corrupt",
        sentence: (path: string) =>
          `The catalogue ${path} is damaged; the frames beside it are untouched.`,
      },
    ]),
    [
      "ENOENT",
      {
        code: "archive.not_found",
        sentence: (path: string) => `${path} is not there.`,
      },
    ],
  ]);

/** A failure of the disk or of SQLite as one clear sentence; anything else is passed through. */
export function archiveError(thrown: unknown, path: string): unknown {
  if (thrown instanceof NightError || !(thrown instanceof Error)) return thrown;
  const code = sqliteCodeOf(thrown) ?? ("code" in thrown ? String(thrown.code) : "");
  const meaning = MEANING[code];
  if (meaning === undefined) return thrown;
  return new NightError(meaning.code, meaning.sentence(path), { path, code }, { cause: thrown });
}

/** Runs a step against the disk; its failures come out as `archive.*`. */
export function onDisk<T>(path: string, step: () => T): T {
  try {
    return step();
  } catch (thrown) {
    throw archiveError(thrown, path);
  }
}
