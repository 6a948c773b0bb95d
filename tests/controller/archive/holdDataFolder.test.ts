import { existsSync, readdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { expect, it } from "vitest";
import { holdDataFolder } from "../../../controller/archive/holdDataFolder.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

it("keeps a second one out until the first lets go", () => {
  const folder = temporaryFolder();
  const letGo = holdDataFolder(folder);
  expect(() => holdDataFolder(folder)).toThrow(/Another Nattvakt keeps its nights in .*--data/);
  letGo();
  holdDataFolder(folder)();
});

it("makes the folder where there is none, and says so where it cannot", () => {
  const folder = temporaryFolder();
  holdDataFolder(join(folder, "new"))();
  writeFileSync(join(folder, "a-file"), "not a folder");
  expect(() => holdDataFolder(join(folder, "a-file"))).toThrow(/cannot be written/);
});

/** SQLITE_IOERR_LOCK, and SQLITE_BUSY as after ENOLCK. Source: sqlite.org/rescode.html. */
it.each([3850, 5])(
  "says that a file system takes no locks (code %i) and leaves nothing",
  (errcode) => {
    const folder = temporaryFolder();
    const dataDir = join(folder, "a", "b");
    const noLocks = (path: string): never => {
      writeFileSync(path, "");
      throw Object.assign(new Error("disk I/O error"), { code: "ERR_SQLITE_ERROR", errcode });
    };
    expect(() => holdDataFolder(dataDir, noLocks)).toThrow(
      expect.objectContaining({
        code: "archive.no_locks",
        message: expect.stringMatching(
          /takes no locks.*a disk of this computer with --data/,
        ) as string,
      }),
    );
    expect(readdirSync(folder)).toEqual([]);
  },
);

it("leaves what lies in a folder that another one holds", () => {
  const folder = temporaryFolder();
  const letGo = holdDataFolder(folder);
  writeFileSync(join(folder, "a-night"), "kept");
  expect(() => holdDataFolder(folder)).toThrow(/Another Nattvakt/);
  expect(existsSync(join(folder, "a-night"))).toBe(true);
  expect(readdirSync(folder).filter((name) => name.startsWith("held-"))).toEqual([]);
  letGo();
});
