import { execFileSync } from "node:child_process";
import { existsSync, mkdtempSync, readFileSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import type { Browser, Page } from "playwright-core";
import { afterAll, beforeAll, describe, expect, it, vi } from "vitest";
import { Catalogue } from "../../controller/archive/catalogue.ts";
import { sha256Of } from "../../controller/archive/frameFiles.ts";
import { buildPageIfStale } from "../../controller/pageBuild.ts";
import { hold } from "./openedPage.ts";
import { launchChromium } from "../support/chromium.ts";
import { startProgram, type Program } from "../support/program.ts";

/** The whole program as a photographer meets it: started, watched on the page, stopped from it. */
describe("the demo night on the page", () => {
  let browser: Browser;
  let page: Page;
  let program: Program;
  let dataDir: string;
  const problems: string[] = [];

  beforeAll(async () => {
    await buildPageIfStale();
    dataDir = mkdtempSync(join(tmpdir(), "nattvakt-night-"));
    browser = await launchChromium();
    program = startProgram("controller/main.ts", [
      ...["--port", "0", "--data", dataDir],
      // Dusk: its frames are short, and come one after the other.
      "--from-dusk",
    ]);
    const [, address] = await program.prints(/The page: (http:\S+)/);
    const context = await browser.newContext({ viewport: { width: 1366, height: 768 } });
    page = await context.newPage();
    page.on("pageerror", (error) => problems.push(error.message));
    await page.goto(`${address}#watch`);
  }, 15 * 60_000);

  afterAll(async () => {
    await browser?.close();
    program?.child.kill("SIGKILL");
    rmSync(dataDir, { recursive: true, force: true });
  });

  it("shows frames arriving, stops when asked to, and says what the catalogue says", async () => {
    await page.getByTestId("frame-picture").waitFor({ timeout: 60_000 });
    const counted = async (): Promise<number> => {
      const text = await page
        .locator("dt", { hasText: /^Frames$/ })
        .locator("xpath=following-sibling::dd")
        .innerText();
      return Number(/^[\d\s]+/.exec(text)?.[0].replace(/\s/g, "") ?? NaN);
    };
    const early = await counted();
    await vi.waitFor(async () => expect(await counted()).toBeGreaterThan(early + 3), {
      timeout: 60_000,
      interval: 500,
    });
    expect(await page.getByTestId("sentence").innerText()).toMatch(/All is well/);

    await hold(page, page.getByRole("button", { name: "Stop" }), /the night is closed in/);
    await vi.waitFor(
      // Before its end stands that the last frames are being fetched.
      async () =>
        expect(await page.getByTestId("sentence").innerText()).toMatch(/stopped by hand\.\s*$/),
      { timeout: 60_000, interval: 500 },
    );

    const nights = join(dataDir, "demo", "nights");
    const [name] = readdirSync(nights);
    const catalogue = Catalogue.open(join(nights, name!), { readOnly: true });
    try {
      const frames = catalogue.frames({ fromIndex: 0, count: 10_000 });
      await vi.waitFor(async () => expect(await counted()).toBe(frames.length), {
        timeout: 10_000,
        interval: 250,
      });
      expect(frames.every((frame) => frame.status === "kept")).toBe(true);
      for (const { file } of frames) {
        const bytes = readFileSync(join(nights, name!, file!.path));
        expect(sha256Of(bytes)).toBe(file!.sha256);
      }
      // The newest frame's figures on the page are the catalogue's.
      const newest = frames.at(-1)!;
      const details = (await page.getByTestId("frame-details").innerText()).replaceAll(" ", " ");
      expect(details).toContain(`${Math.round(newest.happened!.iso)}`);
      for (const reason of newest.reasons) expect(details).toContain(reason);
    } finally {
      catalogue.close();
    }
    expect(problems).toEqual([]);
  });

  it("ends on Ctrl-C with code 0 and leaves no process behind", async () => {
    const children = descendants(program.child.pid!);
    expect(children.length).toBeGreaterThan(0);
    program.child.kill("SIGINT");
    expect(await program.ended).toBe(0);
    await vi.waitFor(
      () => expect(children.filter((pid) => existsSync(`/proc/${pid}`))).toEqual([]),
      { timeout: 10_000 },
    );
  });
});

function descendants(pid: number): number[] {
  const table = execFileSync("ps", ["-eo", "pid=,ppid=,args="], { encoding: "utf8" })
    .trim()
    .split("\n")
    .map((line) => /^\s*(\d+)\s+(\d+)\s+(.*)$/.exec(line)!)
    .map(([, child, parent, args]) => ({
      pid: Number(child),
      parent: Number(parent),
      args: args!,
    }));
  return table
    .filter(({ parent, args }) => parent === pid && !args.includes("ps -eo"))
    .flatMap((entry) => [entry.pid, ...descendants(entry.pid)]);
}
