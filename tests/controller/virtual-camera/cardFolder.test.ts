import { spawnSync } from "node:child_process";
import { existsSync, mkdirSync, mkdtempSync, rmSync, utimesSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { CardFolder } from "../../../controller/virtual-camera/cardFolder.ts";

const parent = mkdtempSync(join(tmpdir(), "nattvakt-test-"));
afterAll(() => rmSync(parent, { recursive: true, force: true }));

/** A card folder of a process, last touched so many hours ago. */
function leftBehind(pid: number, hours: number): string {
  const folder = join(parent, `nattvakt-card-${pid}-abcdef`);
  mkdirSync(join(folder, "DCIM"), { recursive: true });
  const at = Date.now() / 1000 - hours * 3600;
  utimesSync(folder, at, at);
  return folder;
}

test("a card left behind by a killed camera is removed after an hour, others stay", async () => {
  const deadPid = spawnSync("true").pid;
  const secondDeadPid = spawnSync("true").pid;
  const old = leftBehind(deadPid, 2);
  const recent = leftBehind(secondDeadPid, 0.5);
  const inUse = leftBehind(process.pid, 2);
  const card = new CardFolder(parent);
  expect([old, recent, inUse].map((folder) => existsSync(folder))).toEqual([false, true, true]);
  await card.close();
});

test("a file is read whole, in parts, and not past its end", async () => {
  const card = new CardFolder(parent);
  await card.write("DCIM/100NIGHT/NATT0001.JPG", Uint8Array.from([1, 2, 3, 4, 5]));
  const path = "DCIM/100NIGHT/NATT0001.JPG";
  expect([...(await card.read(path))]).toEqual([1, 2, 3, 4, 5]);
  expect([...(await card.readPart(path, 1, 3))]).toEqual([2, 3, 4]);
  expect([...(await card.readPart(path, 4, 3))]).toEqual([5]);
  await card.remove(path);
  await expect(card.read(path)).rejects.toMatchObject({ code: "ENOENT" });
  await card.close();
});
