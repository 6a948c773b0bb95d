import {
  existsSync,
  mkdirSync,
  readFileSync,
  readdirSync,
  symlinkSync,
  writeFileSync,
} from "node:fs";
import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { archiveError } from "../../../controller/archive/archiveError.ts";
import { frameFileName, keepFrameFile, setAside } from "../../../controller/archive/frameFiles.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

function nightDir(): string {
  const folder = temporaryFolder();
  mkdirSync(join(folder, "frames"));
  return folder;
}

describe("frame files", () => {
  it("are named by their index and the camera's own ending", () => {
    expect(frameFileName(42)).toBe("000042.jpg");
    expect(frameFileName(1_234_567, "RAW")).toBe("1234567.raw");
  });

  it("are whole under their name, with the SHA-256 of FIPS 180-4's example", async () => {
    const folder = nightDir();
    const kept = await keepFrameFile(folder, "000001.jpg", new TextEncoder().encode("abc"));
    // Source: NIST, "Secure Hash Standard examples", SHA-256 of "abc".
    expect(kept).toEqual({
      path: "frames/000001.jpg",
      bytes: 3,
      sha256: "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
    });
    expect(readFileSync(join(folder, kept.path), "utf8")).toBe("abc");
    expect(readdirSync(join(folder, "frames"))).toEqual(["000001.jpg"]);
  });

  it("are not written twice when the same bytes come again", async () => {
    const folder = nightDir();
    await keepFrameFile(folder, "a.jpg", Uint8Array.of(1));
    await keepFrameFile(folder, "a.jpg", Uint8Array.of(1));
    expect(readdirSync(join(folder, "frames"))).toEqual(["a.jpg"]);
  });

  it("set a different file of the same name aside instead of overwriting it", async () => {
    const folder = nightDir();
    await keepFrameFile(folder, "a.jpg", Uint8Array.of(1));
    await keepFrameFile(folder, "a.jpg", Uint8Array.of(2));
    await keepFrameFile(folder, "a.jpg", Uint8Array.of(3));
    const aside = readdirSync(join(folder, "frames/aside")).sort();
    expect(aside).toEqual(["a.jpg", "a.jpg.1"]);
    expect([...readFileSync(join(folder, "frames/aside/a.jpg"))]).toEqual([1]);
    expect([...readFileSync(join(folder, "frames/a.jpg"))]).toEqual([3]);
  });

  it("say so when the folder is gone or is a file, and leave nothing half-written", async () => {
    const folder = temporaryFolder();
    await expect(keepFrameFile(folder, "a.jpg", Uint8Array.of(1))).rejects.toMatchObject({
      code: "archive.not_found",
    });
    writeFileSync(join(folder, "frames"), "");
    await expect(keepFrameFile(folder, "a.jpg", Uint8Array.of(1))).rejects.toMatchObject({
      code: "archive.read_only",
    });
    expect(readdirSync(folder)).toEqual(["frames"]);
  });

  it.skipIf(!existsSync("/dev/full"))(
    "say that the disk is full when it is, and leave nothing half-written",
    async () => {
      const folder = nightDir();
      // The system's own always-full device in place of the file that is written aside.
      symlinkSync("/dev/full", join(folder, "frames/a.jpg.part"));
      await expect(keepFrameFile(folder, "a.jpg", Uint8Array.of(1))).rejects.toMatchObject({
        code: "archive.disk_full",
        message: expect.stringMatching(/^The disk is full: .*free some space/) as string,
      });
      expect(readdirSync(join(folder, "frames"))).toEqual([]);
    },
  );

  it("name a full disk and a read-only one in one sentence", () => {
    const full = Object.assign(new Error("write"), { code: "ENOSPC" });
    expect(archiveError(full, "D")).toMatchObject({
      code: "archive.disk_full",
      message: expect.stringMatching(/^The disk is full/) as string,
    });
    const readOnly = Object.assign(new Error("open"), { code: "EROFS" });
    expect(archiveError(readOnly, "D")).toMatchObject({ code: "archive.read_only" });
    const extended = Object.assign(new Error("x"), {
      code: "ERR_SQLITE_ERROR",
      // SQLITE_READONLY_DIRECTORY. Source: sqlite.org/rescode.html.
      errcode: 1544,
    });
    expect(archiveError(extended, "D")).toMatchObject({ code: "archive.read_only" });
  });

  it("can be set aside without losing one already there", async () => {
    const folder = nightDir();
    writeFileSync(join(folder, "frames/b.jpg.part"), "half");
    expect(await setAside(folder, "frames/b.jpg.part")).toBe("frames/aside/b.jpg.part");
  });
});
