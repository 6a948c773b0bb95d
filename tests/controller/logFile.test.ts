import { existsSync, mkdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { expect, it } from "vitest";
import { LogFile } from "../../controller/logFile.ts";
import { openLog } from "../../controller/log.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";

it("keeps three files of 100 bytes at most, the newest lines in the first", async () => {
  const path = join(temporaryFolder(), "a.log");
  const file = new LogFile(path, { bytesMax: 100, olderCountMax: 2 });
  for (let number = 0; number < 40; number += 1) {
    file.write(`line ${String(number).padStart(4, "0")}\n`);
    await file.close();
  }
  const files = [path, `${path}.1`, `${path}.2`].map((one) => readFileSync(one, "utf8"));
  expect(files.every((text) => text.length <= 100)).toBe(true);
  expect(files[0]!.trim().split("\n").at(-1)).toBe("line 0039");
  expect(files[1]!.trim().split("\n").at(-1)).toBe("line 0029");
  expect(existsSync(`${path}.3`)).toBe(false);
});

it("counts the lines that the disk refused, and tells the count with the next one it takes", async () => {
  const dir = temporaryFolder();
  const path = join(dir, "a.log");
  mkdirSync(path); // a folder in the way refuses every line, as a full disk does
  const file = new LogFile(path);
  for (const line of ["one\n", "two\n"]) {
    file.write(line);
    await file.close();
  }
  rmSync(path, { recursive: true });
  writeFileSync(path, "");
  file.write("three\n");
  await file.close();
  const [lost, three] = readFileSync(path, "utf8").trim().split("\n");
  expect(JSON.parse(lost!)).toMatchObject({ event: "log.lines_lost", count: 2 });
  expect(three).toBe("three");
});

it.runIf(existsSync("/dev/full"))("closes on a full disk within 2.5 s", async () => {
  const file = new LogFile("/dev/full");
  for (let number = 0; number < 2000; number += 1) file.write(`${"x".repeat(500)}\n`);
  const beganMs = performance.now();
  await file.close();
  expect(performance.now() - beganMs).toBeLessThan(2500);
});

it("writes one JSON object a line, with its time and its fields", async () => {
  const dir = temporaryFolder();
  const { log, close } = openLog(dir);
  log.warn("terminal.lost", { why: "closed" });
  await close();
  const line = JSON.parse(readFileSync(join(dir, "nattvakt.log"), "utf8")) as object;
  expect(line).toMatchObject({ level: 40, event: "terminal.lost", why: "closed" });
  expect(line).toHaveProperty("time");
});
