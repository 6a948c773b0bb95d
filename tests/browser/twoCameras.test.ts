import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

import type { Browser, Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from "vitest";

import { deliverRoutes } from "../../controller/web/deliverRoutes.ts";
import { startWebServer, type WebServer } from "../../controller/web/server.ts";
import { copyOfBuiltPage } from "../support/builtPage.ts";
import { launchChromium } from "../support/chromium.ts";
import { createFakeDeliveries } from "../support/fakeDeliveries.ts";
import { createFakeNight, writePicture, type FakeNight } from "../support/fakeNight.ts";
import { hold, openPage } from "./openedPage.ts";

let browser: Browser;
let uiDir: string;
let dir: string;
let night: FakeNight;
let server: WebServer;
let page: Page;

beforeAll(async () => {
  uiDir = await copyOfBuiltPage();
  browser = await launchChromium();
}, 15 * 60_000);

afterAll(async () => {
  await browser?.close();
  rmSync(uiDir, { recursive: true, force: true });
});

/** Eight frames of the first camera, five of the second, at the same times. */
beforeEach(async () => {
  dir = mkdtempSync(join(tmpdir(), "nattvakt-two-"));
  const framesDir = join(dir, "frames");
  night = createFakeNight({ framesDir, cameraIds: ["camera-1", "camera-2"] });
  for (let index = 0; index < 8; index += 1) {
    await writePicture(framesDir, index, { width: 120, height: 80 });
    night.addFrame({ cameraId: "camera-1", reasons: ["of the first camera"] });
    if (index < 5) night.addFrame({ cameraId: "camera-2", reasons: ["of the second camera"] });
  }
  server = await startWebServer({
    port: 0,
    service: night,
    uiDir,
    extraRoutes: deliverRoutes(createFakeDeliveries(night)),
  });
});

afterEach(async () => {
  await page?.context().close();
  await server.close();
  rmSync(dir, { recursive: true, force: true });
});

function shownFrame(): Promise<string | null> {
  return page.getByRole("slider").getAttribute("aria-valuenow");
}

test("strip, picture, thumbnails and details follow the chosen camera", async () => {
  ({ page } = await openPage(browser, `${server.address}#watch`));
  await page.getByText("of the first camera").waitFor();
  expect(await shownFrame()).toBe("7");
  await page.getByRole("button", { name: /Camera camera-2/ }).click();
  await page.getByText("of the second camera").waitFor();
  expect(await shownFrame()).toBe("4");
  await page.locator('[data-testid=frame-picture][src*="/frames/4/"][src*="camera-2"]').waitFor();
  expect(await page.locator('ol img[src*="camera=camera-2"]').count()).toBe(5);
  expect(await page.locator('ol img[src*="camera=camera-1"]').count()).toBe(0);
  night.addFrame({ cameraId: "camera-2", reasons: ["a later one of the second camera"] });
  await page.getByText("a later one of the second camera").waitFor();
  night.addFrame({ cameraId: "camera-1" });
  expect(await shownFrame()).toBe("5");
});

test("orders go to the chosen camera alone", async () => {
  ({ page } = await openPage(browser, `${server.address}#watch`));
  await page.getByRole("button", { name: /Camera camera-2/ }).click();
  await hold(page, page.getByRole("button", { name: "Pause" }), "Paused after the open frame");
  await page.getByRole("button", { name: "Resume" }).waitFor();
  expect(night.commands).toEqual([
    { cameraId: "camera-2", command: { kind: "pause", untilUtcMs: null } },
  ]);
});

test("the morning looks at one camera of the night at a time", async () => {
  ({ page } = await openPage(browser, `${server.address}#morning`));
  await page.getByText("of the first camera").waitFor();
  await page.getByRole("button", { name: "Camera camera-2" }).click();
  await page.getByText("of the second camera").waitFor();
  expect(await shownFrame()).toBe("4");
  await page.keyboard.press("Home");
  await page.locator('[data-testid=frame-picture][src*="/frames/0/"][src*="camera-2"]').waitFor();
});
