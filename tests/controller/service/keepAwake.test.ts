import { existsSync, readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it, onTestFinished, vi } from "vitest";
import {
  awakeWhile,
  inhibitorOf,
  keepAwake,
  type SleepInhibitor,
} from "../../../controller/service/keepAwake.ts";
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
    [
      "ends by itself",
      process.execPath,
      [
        "-e",
        "process.stdin.once('data', () => process.stdout.write('held', () => process.exit()))",
      ],
      "has ended",
    ],
  ])("says so in one sentence when its program %s", async (_what, program, args, why) => {
    const { reported, letSleep } = keeping({ program, args, lost: null });
    await vi.waitFor(() => expect(reported).toHaveLength(1), 20_000);
    letSleep();
    expect(reported[0]).toContain(why);
    expect(reported[0]).toMatch(/^This computer may fall asleep .*closed lid too\.$/);
  });

  it("says so where nothing is known of the system", () => {
    const { reported } = keeping(null);
    expect(reported).toEqual([expect.stringMatching(/^This computer may fall asleep/)]);
  });

  it("asks again while it is refused, without repeating itself, and takes it back once it is granted", async () => {
    const folder = temporaryFolder();
    const asked = join(folder, "asked");
    const granting = inhibitorThat(
      folder,
      `appendFileSync(${JSON.stringify(asked)}, "+");
if (readFileSync(${JSON.stringify(asked)}).length < 4) process.exit(1);`,
    );
    const { reported, letSleep } = keeping(granting);
    await vi.waitFor(() => expect(reported).toHaveLength(2), 20_000);
    expect(reported).toEqual([expect.stringMatching(/was refused/), null]);
    expect(readFileSync(asked, "utf8")).toBe("++++");
    letSleep();
  });

  it("asks no more once it is let sleep", async () => {
    vi.useFakeTimers({ toFake: ["setTimeout", "clearTimeout"] });
    onTestFinished(() => void vi.useRealTimers());
    const reported: (string | null)[] = [];
    const refused = { program: "/no/such/program", args: [], lost: null };
    const gone = new Promise<void>((resolve) => {
      const letSleep = keepAwake((lack) => {
        reported.push(lack);
        // The next asking is set down with the same failure.
        queueMicrotask(() => resolve(letSleep()));
      }, refused);
    });
    await gone;
    expect(vi.getTimerCount()).toBe(0);
    expect(reported).toHaveLength(1);
  });

  it("says what a system cannot hold off, though it is granted the rest", async () => {
    const { reported, letSleep } = keeping({
      ...inhibitorThat(temporaryFolder(), ""),
      lost: "The lid.",
    });
    await vi.waitFor(() => expect(reported).toEqual(["The lid."]), 20_000);
    letSleep();
  });

  it("lasts until it is let sleep again, and ends without a word", async () => {
    const folder = temporaryFolder();
    const [begun, ended] = [join(folder, "begun"), join(folder, "ended")];
    const inhibitor = inhibitorThat(
      folder,
      `process.stdin.on("end", () => writeFileSync(${JSON.stringify(ended)}, ""));
writeFileSync(${JSON.stringify(begun)}, "");`,
    );
    const { reported, letSleep } = keeping(inhibitor);
    await vi.waitFor(() => expect(existsSync(begun)).toBe(true), 20_000);
    expect(existsSync(ended)).toBe(false);
    letSleep();
    await vi.waitFor(() => expect(existsSync(ended)).toBe(true), 20_000);
    expect(reported).toEqual([]);
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

/** What is reported of it, asked again soon. */
function keeping(inhibitor: SleepInhibitor | null) {
  const reported: (string | null)[] = [];
  const letSleep = keepAwake((lack) => reported.push(lack), inhibitor, 50);
  return { reported, letSleep };
}

/** A program that does as it is reported first, and then holds sleep off as those of the systems do. */
function inhibitorThat(folder: string, does: string): SleepInhibitor {
  const script = join(folder, "inhibitor.mjs");
  writeFileSync(
    script,
    `import { appendFileSync, readFileSync, writeFileSync } from "node:fs";
${does}
process.stdin.on("data", (line) => process.stdout.write(line));
// It may be let sleep before it has answered.
process.stdout.on("error", () => undefined);`,
  );
  return { program: process.execPath, args: [script], lost: null };
}
