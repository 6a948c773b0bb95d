import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterEach, beforeEach, describe, expect, it } from "vitest";
import { renameDurably, writeDurably, writeDurablySync } from "../../controller/durableWrite.ts";

let folder: string;

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), "nattvakt-write-"));
});

afterEach(() => {
  rmSync(folder, { recursive: true, force: true });
});

describe.each([
  ["writeDurably", writeDurably],
  ["writeDurablySync", async (target: string, text: string) => writeDurablySync(target, text)],
])("%s", (_, write) => {
  it("puts a file in place of an older one and leaves nothing beside it", async () => {
    const target = join(folder, "list.json");
    writeFileSync(target, "old");
    await write(target, "new");
    expect(readFileSync(target, "utf8")).toBe("new");
    expect(readdirSync(folder)).toEqual(["list.json"]);
  });

  it("takes the place of what an interrupted write left behind", async () => {
    const target = join(folder, "list.json");
    writeFileSync(`${target}.part`, "half a list, and longer than what follows");
    await write(target, "new");
    expect(readFileSync(target, "utf8")).toBe("new");
    expect(readdirSync(folder)).toEqual(["list.json"]);
  });

  it.skipIf(!existsSync("/dev/full"))(
    "leaves the older file untouched on a full disk",
    async () => {
      const target = join(folder, "list.json");
      writeFileSync(target, "old");
      symlinkSync("/dev/full", `${target}.part`);
      await expect(write(target, "new")).rejects.toMatchObject({ code: "ENOSPC" });
      expect(readFileSync(target, "utf8")).toBe("old");
      expect(readdirSync(folder)).toEqual(["list.json"]);
    },
  );

  it("says what stood in the way, not what it failed to clear away", async () => {
    const target = join(folder, "list.json");
    mkdirSync(`${target}.part`);
    await expect(write(target, "new")).rejects.toMatchObject({ code: "EISDIR" });
    expect(readdirSync(folder)).toEqual(["list.json.part"]);
  });
});

describe("renameDurably", () => {
  it("names a file that another program has written", async () => {
    const part = join(folder, "film.mp4.part");
    writeFileSync(part, "a film");
    await renameDurably(part, join(folder, "film.mp4"));
    expect(readFileSync(join(folder, "film.mp4"), "utf8")).toBe("a film");
    expect(readdirSync(folder)).toEqual(["film.mp4"]);
  });
});
