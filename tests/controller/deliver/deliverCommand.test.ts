import { spawnSync } from "node:child_process";
import { writeFileSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { describe, expect, it } from "vitest";
import type { WorkProgress } from "../../../core/api/workProgress.ts";
import { runUpkeep } from "../../../controller/deliver/upkeep.ts";
import { renderNight } from "../../support/renderedNight.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const SCRIPT = fileURLToPath(new URL("../../../controller/commands/deliver.ts", import.meta.url));

function run(...args: string[]) {
  return spawnSync(process.execPath, ["--import", "tsx", SCRIPT, ...args], { encoding: "utf8" });
}

describe("npm run deliver", () => {
  it("lists, finds, verifies, exports and prunes", async () => {
    const dataDir = temporaryFolder();
    const { nightId } = await renderNight({ dataDir, count: 4, widthPx: 96, heightPx: 64 });
    const demo = { dataDir: join(dataDir, "demo"), count: 1, widthPx: 96, heightPx: 64 };
    const { nightId: demoNightId } = await renderNight(demo);
    const nothing = {
      ...{ data: dataDir, night: null, list: false, find: null, from: null, to: null, set: null },
      ...{ export: null, verify: false, prune: null, yes: false },
    };
    const lines: string[] = [];
    const reported: WorkProgress[] = [];
    const upkeep = {
      ...nothing,
      print: (line: string) => void lines.push(line),
      onProgress: (progress: WorkProgress) => void reported.push(progress),
      signal: new AbortController().signal,
    };
    await runUpkeep({ ...upkeep, list: true });
    await runUpkeep({ ...upkeep, night: "last", list: true });
    await runUpkeep({ ...upkeep, night: "last", find: "brighter 0.001", from: "20:00:15" });
    await runUpkeep({ ...upkeep, night: "last", verify: true, export: temporaryFolder() });
    await runUpkeep({ ...upkeep, night: "last", prune: "sentinel" });
    const said = lines.join("\n");
    expect(said).toContain(`${nightId}: 4 frames, Hut Seven`);
    expect(said).toContain(`${demoNightId} (of the demo): 1 frames, Hut Seven`);
    expect(said).toMatch(/made-up-000000: Set 1, 4 frames/);
    expect(said).toMatch(/20:00:20 UT {2}0\.00200 cd\/m²\n.*\n2 frames/);
    expect(said).toMatch(/4 files are as they were kept[\s\S]*4 files were copied/);
    expect(said).toMatch(/0 previews would be deleted/);
    expect(reported.map(({ label, doneCount }) => `${label} ${doneCount}`)).toEqual([
      ...[1, 2, 3, 4].map((n) => `checking files ${n}`),
      ...[1, 2, 3, 4].map((n) => `copying files ${n}`),
    ]);
    expect(reported[0]!.share).toBeGreaterThan(0.1);
    expect(reported[0]!.share).toBeLessThan(0.4);
    expect([reported[3]!.share, reported[7]!.share]).toEqual([1, 1]);
    await expect(runUpkeep({ ...upkeep, night: "last", find: "nice" })).rejects.toThrow(/--find/);
    await expect(runUpkeep({ ...upkeep, night: "last", prune: "all" })).rejects.toThrow(/--prune/);
    writeFileSync(join(dataDir, "nights", nightId, "frames/000001.jpg"), "altered");
    await expect(runUpkeep({ ...upkeep, night: "last", verify: true })).rejects.toThrow(
      /1 of 4 files/,
    );
  });

  it("delivers a night, telling how far it is", async () => {
    const dataDir = temporaryFolder();
    await renderNight({ dataDir, count: 4, widthPx: 96, heightPx: 64 });
    const data = ["--data", dataDir];
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
