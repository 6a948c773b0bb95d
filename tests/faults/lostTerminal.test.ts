import { existsSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { afterEach, expect, it, vi } from "vitest";
import { DEMO_FOLDER } from "../../controller/archive/nightFolder.ts";
import type { DaemonView } from "../../core/api/messages.ts";
import { isAlive, startProgram, type Program } from "../support/program.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";

const programs: Program[] = [];

afterEach(() => {
  for (const { child } of programs.splice(0)) child.kill("SIGKILL");
});

function start(file: string, ...args: readonly string[]): Program {
  const program = startProgram(file, args);
  programs.push(program);
  return program;
}

async function frameCount(address: string): Promise<number> {
  const { watches } = (await (await fetch(new URL("/api/state", address))).json()) as DaemonView;
  return watches[0]?.frameCount ?? 0;
}

it("outlives its terminal, is found again by status, named to a second start, and ended by stop", async () => {
  const dataDir = temporaryFolder();
  const daemon = start("controller/main.ts", "--port", "0", "--data", dataDir);
  const [, address] = await daemon.prints(/The page: (\S+)/);
  await daemon.prints(/#000\d/);

  // The reader dies, as `| tee x` does, and the window is closed on top.
  daemon.child.stdout!.destroy();
  daemon.child.stderr!.destroy();
  const before = await frameCount(address!);
  await vi.waitFor(async () => expect(await frameCount(address!)).toBeGreaterThan(before + 1), {
    timeout: 60_000,
    interval: 500,
  });
  daemon.child.kill("SIGHUP");
  const atHangUp = await frameCount(address!);
  await vi.waitFor(async () => expect(await frameCount(address!)).toBeGreaterThan(atHangUp + 1), {
    timeout: 60_000,
    interval: 500,
  });
  const log = readFileSync(join(dataDir, DEMO_FOLDER, "nattvakt.log"), "utf8");
  expect(log.match(/"event":"terminal\.lost"/g)).toHaveLength(1);

  const status = start("controller/commands/status.ts", "--data", dataDir);
  expect(await status.ended).toBe(0);
  expect(status.printed()).toContain(`Process ${daemon.child.pid}, page ${address}`);

  const second = start("controller/main.ts", "--port", "0", "--data", dataDir);
  expect(await second.ended).toBe(1);
  expect(second.printed()).toContain(`process ${daemon.child.pid}, page ${address}`);
  expect(second.printed()).toContain("npm run stop");

  const stop = start("controller/commands/stop.ts", "--data", dataDir);
  expect(await stop.ended).toBe(0);
  expect(await daemon.ended).toBe(0);
  expect(isAlive(daemon.child.pid!)).toBe(false);
  expect(existsSync(join(dataDir, "running.json"))).toBe(false);

  const none = start("controller/commands/status.ts", "--data", dataDir);
  expect(await none.ended).toBe(1);
  expect(none.printed()).toContain(`No Nattvakt runs on ${dataDir}`);
}, 240_000);

it("ends another command quietly when its reader has seen enough", async () => {
  const plan = start(
    "controller/commands/plan.ts",
    "--lat",
    "68.9",
    "--lon",
    "27",
    "--date",
    "2026-11-25",
  );
  plan.child.stdout!.destroy();
  expect(await plan.ended).toBe(0);
  expect(plan.printed()).not.toMatch(/error/i);
}, 60_000);
