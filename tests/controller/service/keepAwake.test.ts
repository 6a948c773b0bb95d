import { existsSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it, vi } from "vitest";
import { awakeWhile, keepAwake, inhibitorOf } from "../../../controller/service/keepAwake.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

describe("keeping the computer from sleeping", () => {
  it("asks each system in its own words, and says where a closed lid is beyond it", () => {
    const linux = inhibitorOf("linux")!;
    expect([linux.program, ...linux.args].join(" ")).toMatch(
      /^systemd-inhibit --what=sleep:idle:handle-lid-switch --mode=block .* cat$/,
    );
    expect(linux.lost).toBeNull();
    for (const platform of ["darwin", "win32"] as const) {
      expect(inhibitorOf(platform)!.lost).toMatch(/closed lid/);
    }
    expect(inhibitorOf("freebsd")).toBeNull();
  });

  it.each([
    ["is not there", "/no/such/program", [], "there is no /no/such/program"],
    ["is refused", process.execPath, ["-e", "process.exit(1)"], "was refused"],
  ])("says so in one sentence when its program %s", async (_what, program, args, why) => {
    const lines: string[] = [];
    keepAwake((line) => lines.push(line), { program, args, lost: null });
    await vi.waitFor(() => expect(lines).toHaveLength(1), 20_000);
    expect(lines[0]).toContain(why);
    expect(lines[0]).toMatch(/^This computer may fall asleep .*closed lid too\.$/);
  });

  it("says so where nothing is known of the system", () => {
    const lines: string[] = [];
    keepAwake((line) => lines.push(line), null);
    expect(lines[0]).toMatch(/^This computer may fall asleep/);
  });

  it("lasts until it is let sleep again, and ends without a word", async () => {
    const folder = temporaryFolder();
    const script = join(folder, "inhibitor.mjs");
    const [begun, ended] = [join(folder, "begun"), join(folder, "ended")];
    writeFileSync(
      script,
      `import { writeFileSync } from "node:fs";
process.stdin.on("end", () => writeFileSync(${JSON.stringify(ended)}, "")).resume();
writeFileSync(${JSON.stringify(begun)}, "");`,
    );
    const lines: string[] = [];
    const inhibitor = { program: process.execPath, args: [script], lost: null };
    const letSleep = keepAwake((line) => lines.push(line), inhibitor);
    await vi.waitFor(() => expect(existsSync(begun)).toBe(true), 20_000);
    expect(existsSync(ended)).toBe(false);
    letSleep();
    await vi.waitFor(() => expect(existsSync(ended)).toBe(true), 20_000);
    expect(lines).toEqual([]);
  });

  it("begins with a watch and ends with it, however often it is informed", () => {
    const heard: string[] = [];
    const reported = awakeWhile(() => {
      heard.push("keep");
      return () => heard.push("let sleep");
    });
    const duties = ["resting", "watching", "watching", "resting", "resting", "watching"] as const;
    for (const duty of duties) reported(duty);
    expect(heard).toEqual(["keep", "let sleep", "keep"]);
  });
});
