import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

import type { Browser, Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from "vitest";

import { startWebServer, type WebServer } from "../../controller/web/server.ts";
import { copyOfBuiltPage } from "../support/builtPage.ts";
import { launchChromium } from "../support/chromium.ts";
import { createFakeNight, writePicture, type FakeNight } from "../support/fakeNight.ts";
import { fillNight } from "../support/livelyNight.ts";
import {
  axeFaults,
  LAPTOP,
  openPage,
  PHONE,
  settle,
  smallTargets,
  strongest,
} from "./openedPage.ts";

const FRAME_COUNT = 30;

let browser: Browser;
let uiDir: string;
let dir: string;
let framesDir: string;
let night: FakeNight;
let server: WebServer;
let page: Page;
let problems: string[];

beforeAll(async () => {
  uiDir = await copyOfBuiltPage();
  browser = await launchChromium();
  dir = mkdtempSync(join(tmpdir(), "nattvakt-page-"));
  framesDir = join(dir, "frames");
}, 15 * 60_000);

afterAll(async () => {
  await browser?.close();
  for (const folder of [dir, uiDir]) rmSync(folder, { recursive: true, force: true });
});

beforeEach(async () => {
  night = createFakeNight({ framesDir });
  await fillNight(night, { framesDir, count: FRAME_COUNT, picture: { width: 240, height: 160 } });
  server = await startWebServer({ port: 0, service: night, uiDir });
});

afterEach(async () => {
  await page?.context().close();
  await server.close();
});

async function open(viewport = LAPTOP, hash = "#watch"): Promise<void> {
  ({ page, problems } = await openPage(browser, `${server.address}${hash}`, viewport));
  await page.getByTestId("frame-picture").waitFor();
}

/** What stands there, with plain spaces between figures and units. */
async function textOf(testId: string): Promise<string> {
  return (await page.getByTestId(testId).innerText()).replaceAll("\u00a0", " ");
}

function sentence(): Promise<string> {
  return textOf("sentence");
}

function shownFrame(): Promise<string | null> {
  return page.getByRole("slider").getAttribute("aria-valuenow");
}

test("shows frames as they arrive, the newest large with its exposure and its reasons", async () => {
  await open();
  expect(await shownFrame()).toBe(String(FRAME_COUNT - 1));
  await writePicture(framesDir, FRAME_COUNT, { width: 240, height: 160 });
  night.addFrame({
    reasons: ["ISO at its cap"],
    happened: { exposureSeconds: 4.21, iso: 6400, fNumber: 2 },
  });
  await page.getByText("ISO at its cap").waitFor();
  const details = await textOf("frame-details");
  expect(details).toContain("4.21 s");
  expect(details).toContain("6400");
  expect(details).toContain("f/2");
  expect(await shownFrame()).toBe(String(FRAME_COUNT));
  await page.locator(`[data-testid=frame-picture][src*="/frames/${FRAME_COUNT}/"]`).waitFor();
  await page.getByRole("button", { name: new RegExp(`^Frame ${FRAME_COUNT},`) }).waitFor();
  expect(problems).toEqual([]);
});

test("says the one sentence of the watch, and marks it when something is wrong", async () => {
  await open();
  expect(await sentence()).toContain("All is well");
  night.changeWatch({ allIsWell: false, sentence: "The battery is at 6 %: change it now." });
  await page.getByText("The battery is at 6 %: change it now.").waitFor();
  expect(await sentence()).toContain("Needs you");
  // Anyone who looks at another tab sees it there.
  expect(await page.title()).toBe("△ Picture affected");
  const icon = page.locator('link[rel="icon"]');
  expect(await icon.getAttribute("href")).toBe("/icon-attention.svg");
});

test("steps through the night by arrow keys, keeps the moment, and follows again by End", async () => {
  await open();
  await page.keyboard.press("ArrowLeft");
  await page.keyboard.press("ArrowLeft");
  expect(await shownFrame()).toBe(String(FRAME_COUNT - 3));
  await page.keyboard.press("Shift+ArrowLeft");
  expect(await shownFrame()).toBe(String(FRAME_COUNT - 13));
  night.addFrame({ reasons: ["a later frame"] });
  await expect
    .poll(() => page.getByRole("slider").getAttribute("aria-valuemax"))
    .toBe(String(FRAME_COUNT));
  expect(await shownFrame()).toBe(String(FRAME_COUNT - 13));
  await page.getByRole("heading", { name: `Frame ${FRAME_COUNT - 13}` }).waitFor();
  await page.keyboard.press("Home");
  expect(await shownFrame()).toBe("0");
  await page.keyboard.press("End");
  expect(await shownFrame()).toBe(String(FRAME_COUNT));
  await page.getByText("a later frame").waitFor();
});

test("opens the frame under the pointer on the strip, and the one that is tapped", async () => {
  await open();
  const box = (await page.getByRole("slider").boundingBox())!;
  await page.mouse.move(box.x, box.y + 40);
  await expect.poll(shownFrame).toBe("0");
  await page.mouse.move(box.x + 2, box.y + box.height + 40);
  await expect.poll(shownFrame).toBe(String(FRAME_COUNT - 1));
  await page.mouse.click(box.x, box.y + 40);
  await page.mouse.move(box.x + 2, box.y + box.height + 40);
  expect(await shownFrame()).toBe("0");
});

test("steers the exposure in the trade's terms, by steps and by typing", async () => {
  await open();
  await page.keyboard.press("e");
  await page.getByRole("button", { name: "ISO cap: less" }).click();
  await expect
    .poll(() => night.commands.at(-1)?.command)
    .toMatchObject({
      settings: { isoMax: 6400 },
    });
  await page.getByRole("textbox", { name: "Longest exposure" }).fill("7,5");
  await page.keyboard.press("Enter");
  await expect
    .poll(() => night.commands.at(-1)?.command)
    .toMatchObject({
      settings: { exposureSecondsMax: 7.5 },
    });
  await page.getByRole("textbox", { name: "Highlight protection" }).fill("150");
  await page.keyboard.press("Enter");
  await page.getByRole("alert").waitFor();
  expect(await page.getByRole("alert").innerText()).toContain("Highlight protection must be");
});

test("lists its keys on ?, and leaves single keys alone once they are switched off", async () => {
  await open();
  await page.keyboard.press("?");
  await page.getByRole("heading", { name: "Keys" }).waitFor();
  await page.getByLabel("Single keys work").uncheck();
  await page.keyboard.press("Escape");
  await page.getByRole("heading", { name: "Keys" }).waitFor({ state: "detached" });
  await page.keyboard.press("b");
  await page.keyboard.press("ArrowLeft");
  expect(await page.getByRole("alertdialog").count()).toBe(0);
  expect(night.commands).toEqual([]);
});

test("says that the daemon is not reachable, and comes back by itself", async () => {
  await open();
  await server.close();
  await page.getByText("The daemon is not reachable").waitFor();
  expect(await sentence()).toContain("old");
  night.addFrame({ reasons: ["taken while the page was alone"] });
  server = await startWebServer({ port: server.port, service: night, uiDir });
  await page.getByText("taken while the page was alone").waitFor();
  await page.getByRole("button", { name: new RegExp(`^Frame ${FRAME_COUNT},`) }).waitFor();
  expect(await sentence()).toContain("All is well");
});

test.each([
  ["a laptop", LAPTOP],
  ["a phone", PHONE],
])("by night sends out no green or blue light on %s, frames in red included", async (_, size) => {
  await open(size);
  await settle(page);
  for (const key of [null, "e", "?", "q"]) {
    if (key !== null) await page.keyboard.press(key);
    const { red, other } = await strongest(page);
    expect(other, `after ${key}`).toBe(0);
    expect(red).toBe(255);
  }
  await page.evaluate(() => window.scrollTo(0, document.body.scrollHeight));
  expect((await strongest(page)).other).toBe(0);
});

test("with frames in colour the frames alone carry green", async () => {
  await open();
  await settle(page);
  await page.keyboard.press("r");
  await settle(page);
  expect((await strongest(page)).other).toBeGreaterThan(100);
  expect((await strongest(page, { masked: ".picture" })).other).toBe(0);
});

test("every colour of the night theme has a red part only", async () => {
  await open();
  await page.keyboard.press("e");
  await page.keyboard.press("?");
  const strays = await page.evaluate(() => {
    const names = ["color", "backgroundColor", "borderTopColor", "outlineColor", "fill", "stroke"];
    return [...document.querySelectorAll("body, body *")].flatMap((element) => {
      const style = getComputedStyle(element) as unknown as Record<string, string>;
      return names
        .map((name) => style[name] ?? "")
        .filter((value) => /^rgb/.test(value) && !/^rgba?\(\d+, 0, 0\b/.test(value))
        .map((value) => `${element.tagName} ${value}`);
    });
  });
  expect(strays).toEqual([]);
});

test("goes down to nearly black by the minus key, and remembers it", async () => {
  await open();
  for (let press = 0; press < 10; press += 1) await page.keyboard.press("-");
  await settle(page);
  const { red, other } = await strongest(page);
  expect(other).toBe(0);
  expect(red).toBeGreaterThan(5);
  expect(red).toBeLessThan(30);
  await page.reload();
  await page.getByTestId("frame-picture").waitFor();
  expect((await strongest(page)).red).toBeLessThan(30);
});

test.each(["night", "day"])(
  "axe finds no fault in the %s theme, wide and narrow",
  async (theme) => {
    await open(LAPTOP);
    if (theme === "day") {
      await page.keyboard.press("t");
      await page.keyboard.press("t");
    }
    await page.keyboard.press("e");
    await page.keyboard.press("?");
    expect(await page.evaluate(() => document.documentElement.dataset["theme"])).toBe(theme);
    for (const size of [LAPTOP, PHONE]) {
      await page.setViewportSize(size);
      await settle(page);
      expect(await axeFaults(page), `${size.width} px`).toEqual([]);
    }
  },
);

test("has targets of 48 px at least and no sideways scrolling at 360 px", async () => {
  await open(PHONE);
  await page.keyboard.press("e");
  await page.keyboard.press("?");
  expect(await smallTargets(page)).toEqual([]);
  const width = await page.evaluate(() => document.documentElement.scrollWidth);
  expect(width).toBe(PHONE.width);
});

test("loads a night of 3,000 frames in a few requests", async () => {
  for (let index = FRAME_COUNT; index < 3000; index += 1) {
    night.addFrame({ openedUtcMs: null, file: null, status: "missing" });
  }
  const context = await browser.newContext({ viewport: LAPTOP });
  page = await context.newPage();
  const asked: string[] = [];
  page.on("request", (request) => asked.push(new URL(request.url()).pathname));
  await page.goto(server.address);
  await page.getByTestId("frame-picture").waitFor();
  await page.waitForLoadState("networkidle");
  expect(asked.filter((path) => path.endsWith("/curves")).length).toBeLessThanOrEqual(2);
  expect(asked.filter((path) => path.endsWith("keogram.png")).length).toBeLessThanOrEqual(3);
});
