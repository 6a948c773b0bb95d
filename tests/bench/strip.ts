import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { pathToFileURL } from "node:url";

import type { CDPSession, Page } from "playwright-core";
import sharp from "sharp";

import { startWebServer } from "../../controller/web/server.ts";
import { quantileOf } from "../../core/statistics.ts";
import { utcMs } from "../../core/units.ts";
import { LAPTOP, settle } from "../browser/openedPage.ts";
import { copyOfBuiltPage } from "../support/builtPage.ts";
import { launchChromium } from "../support/chromium.ts";
import { createFakeNight } from "../support/fakeNight.ts";
import { NIGHT_START } from "../support/madeUpNight.ts";
import type { BenchRow } from "./benchRow.ts";
import { tableOf } from "./table.ts";

const FRAME_COUNT = 10_000;
/** Night time from frame to frame: ten thousand of them are a winter night. */
const SPACING_MS = 5000;
const MOVES = 120;

/** An empty canvas that is cleared at every move: what a page costs that draws nothing. */
const EMPTY = `<!doctype html><canvas width="1200" height="150" style="position:absolute"></canvas><script>
const canvas = document.querySelector("canvas");
addEventListener("pointermove", () => requestAnimationFrame(() =>
  canvas.getContext("2d").clearRect(0, 0, 1200, 150)));
</script>`;

/**
 * Scripting for each move of the mouse over a strip of 10,000 frames, without a GPU: pointing at
 * frames, and dragging a stretch that was zoomed into; beside a page with an empty canvas.
 */
export async function benchStrip(): Promise<BenchRow[]> {
  const uiDir = await copyOfBuiltPage();
  const dir = mkdtempSync(join(tmpdir(), "nattvakt-bench-strip-"));
  const browser = await launchChromium();
  const night = createFakeNight({ framesDir: join(dir, "frames") });
  for (let index = 0; index < FRAME_COUNT; index += 1) {
    const exposureSeconds = 3 + Math.sin(index / 300);
    const happened = { exposureSeconds, iso: 1600 + (index % 7) * 100, fNumber: 2.8 };
    night.addFrame({ openedUtcMs: utcMs(NIGHT_START + index * SPACING_MS), happened });
  }
  const server = await startWebServer({ port: 0, service: night, uiDir });
  try {
    const context = await browser.newContext({ viewport: LAPTOP });
    const page = await context.newPage();
    await page.route("**/keogram.png*", async (route) => {
      const count = Number(new URL(route.request().url()).searchParams.get("count"));
      await route.fulfill({ contentType: "image/png", body: await slices(count) });
    });
    await page.route(/(thumb|image)\.jpg/, (route) => route.abort());
    await page.goto(`${server.address}#watch`);
    await page.getByRole("slider").waitFor();
    await settle(page);
    const box = (await page.getByRole("slider").boundingBox())!;
    const session = await context.newCDPSession(page);
    const across = (move: number): number => box.x + 40 + ((move * 37) % 500);
    const pointing = await scriptMs(page, session, across, box.y + 40);
    await page.mouse.wheel(0, -300);
    await page.mouse.down();
    const dragging = await scriptMs(page, session, across, box.y + 40);
    await page.mouse.up();
    const blank = await context.newPage();
    await blank.setContent(EMPTY);
    const empty = await scriptMs(blank, await context.newCDPSession(blank), across, 60);
    return [rowOf("pointing at frames", pointing, empty), rowOf("dragging", dragging, empty)];
  } finally {
    await server.close();
    await browser.close();
    for (const folder of [dir, uiDir]) rmSync(folder, { recursive: true, force: true });
  }
}

function slices(count: number): Promise<Buffer> {
  const background = { r: 10, g: 60, b: 30 };
  return sharp({ create: { width: count, height: 120, channels: 3, background } })
    .png()
    .toBuffer();
}

/** Script of every move, from the pointer to what is drawn, as the browser counts it itself. */
async function scriptMs(
  page: Page,
  session: CDPSession,
  xOf: (move: number) => number,
  y: number,
): Promise<number[]> {
  // The thread's own time: what another program takes from the machine is not the page's.
  await session.send("Performance.enable", { timeDomain: "threadTicks" });
  const scriptSeconds = async (): Promise<number> => {
    const { metrics } = await session.send("Performance.getMetrics");
    return metrics.find(({ name }) => name === "ScriptDuration")?.value ?? 0;
  };
  const times: number[] = [];
  for (let move = 0; move < MOVES; move += 1) {
    const before = await scriptSeconds();
    await page.mouse.move(xOf(move), y);
    await page.evaluate(
      () => new Promise((resolve) => requestAnimationFrame(() => requestAnimationFrame(resolve))),
    );
    times.push(1000 * ((await scriptSeconds()) - before));
  }
  return times;
}

function rowOf(what: string, times: readonly number[], empty: readonly number[]): BenchRow {
  const [value, comparedValue] = [quantileOf(times, 0.95), quantileOf(empty, 0.95)];
  return {
    group: "strip",
    name: `script a move, ${what}, ${FRAME_COUNT} frames, p95`,
    value,
    unit: "ms",
    comparedWith: "a page with an empty canvas",
    comparedValue,
    ratio: value / comparedValue,
    note: "at most 8 ms wanted",
  };
}

if (import.meta.url === pathToFileURL(process.argv[1] ?? "").href) {
  process.stdout.write(tableOf(await benchStrip()));
}
