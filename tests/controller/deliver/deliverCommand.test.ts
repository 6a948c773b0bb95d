import { spawnSync } from "node:child_process";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { describe, expect, it } from "vitest";
import { renderNight } from "../../support/renderedNight.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const SCRIPT = fileURLToPath(new URL("../../../controller/commands/deliver.ts", import.meta.url));

function run(...args: string[]) {
  return spawnSync(process.execPath, ["--import", "tsx", SCRIPT, ...args], { encoding: "utf8" });
}

describe("npm run deliver", () => {
  it("lists, finds, verifies, exports and delivers a night, telling how far it is", async () => {
    const dataDir = temporaryFolder();
    const { nightId } = await renderNight({ dataDir, count: 4, widthPx: 96, heightPx: 64 });
    const data = ["--data", dataDir];
    expect(run("--list", ...data).stdout).toBe(`${nightId}: 4 frames, Hut Seven\n`);
    expect(run("last", "--list", ...data).stdout).toMatch(/^made-up-000000: Set 1, 4 frames/);
    expect(run("last", "--find", "brighter 0.001", ...data).stdout).toMatch(/4 frames\n$/);
    const target = temporaryFolder();
    const moved = run("last", "--verify", "--export", target, ...data);
    expect(moved.stdout).toMatch(/4 files are as they were kept[\s\S]*4 files were copied/);
    const out = join(temporaryFolder(), "out");
    const made = run("last", "--keogram", "--video", "none", "--out", out, ...data);
    expect(made.stderr).toBe("");
    expect(made.status).toBe(0);
    expect(made.stdout).toMatch(/100 % {2}done 1\/1/);
    expect(made.stdout).toMatch(/keogram of made-up: .*keogram\.png/);
  });

  it("ends with 2 and one line when called wrongly, with 1 and one line when it cannot be done", async () => {
    const dataDir = temporaryFolder();
    await renderNight({ dataDir, count: 1, widthPx: 96, heightPx: 64 });
    const cases: [string[], number, RegExp][] = [
      [[], 2, /^error: NIGHT is needed/],
      [["nowhere", "--data", dataDir], 2, /^error: There is no night "nowhere"/],
      [["last", "--data", dataDir, "--fps", "60"], 2, /^error: --fps must be one of 24, 25, 30/],
      [["last", "--data", dataDir, "--from", "23:00"], 1, /^error: None of the night's 1 frames/],
    ];
    for (const [args, status, line] of cases) {
      const outcome = run(...args);
      expect(outcome.stderr).toMatch(line);
      expect(outcome.stderr.trim().split("\n")).toHaveLength(1);
      expect(outcome.status).toBe(status);
    }
  });
});
