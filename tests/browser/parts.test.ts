import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

import type { Browser, Page } from "playwright-core";
import * as v from "valibot";
import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from "vitest";

import type { FocusView } from "../../core/api/focusMessages.ts";
import { PlanService } from "../../controller/planning/planService.ts";
import { deliverRoutes } from "../../controller/web/deliverRoutes.ts";
import { planRoutes } from "../../controller/web/planRoutes.ts";
import type { Route } from "../../controller/web/route.ts";
import { startWebServer, type WebServer } from "../../controller/web/server.ts";
import { copyOfBuiltPage } from "../support/builtPage.ts";
import { launchChromium } from "../support/chromium.ts";
import { createFakeDeliveries, type FakeDeliveries } from "../support/fakeDeliveries.ts";
import { createFakeNight, type FakeNight } from "../support/fakeNight.ts";
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

const FRAME_COUNT = 16;

let browser: Browser;
let uiDir: string;
let dir: string;
let night: FakeNight;
let plans: PlanService;
let deliveries: FakeDeliveries;
let focus: FocusView;
let server: WebServer;
let page: Page;
let problems: string[];

beforeAll(async () => {
  uiDir = await copyOfBuiltPage();
  browser = await launchChromium();
  dir = mkdtempSync(join(tmpdir(), "nattvakt-parts-"));
}, 15 * 60_000);

afterAll(async () => {
  await browser?.close();
  for (const folder of [dir, uiDir]) rmSync(folder, { recursive: true, force: true });
});

beforeEach(async () => {
  const framesDir = join(dir, "frames");
  night = createFakeNight({ framesDir });
  await fillNight(night, { framesDir, count: FRAME_COUNT, picture: { width: 240, height: 160 } });
  plans = new PlanService({
    dataFolder: mkdtempSync(join(dir, "plans-")),
    kpFeedUrl: null,
    nowUtcMs: () => Date.UTC(2026, 10, 25, 15),
  });
  deliveries = createFakeDeliveries(night);
  focus = { kind: "off" };
  server = await startWebServer({
    port: 0,
    service: night,
    uiDir,
    extraRoutes: [...planRoutes(plans, night), ...deliverRoutes(deliveries), ...fakeFocusRoutes()],
  });
});

afterEach(async () => {
  await page?.context().close();
  await server.close();
  await plans.close();
});

/** A focus aid that has measured three frames as soon as it is started. */
function fakeFocusRoutes(): readonly Route[] {
  const answer = { kind: "json", schema: v.looseObject({}) } as const;
  const common = { part: "Before dark", summary: "for the test", answer } as const;
  return [
    { ...common, method: "get", path: "/api/focus", handle: () => focus },
    { ...common, method: "get", path: "/api/framing", handle: () => ({ kind: "none" }) },
    {
      ...common,
      method: "post",
      path: "/api/focus/start",
      handle: () => {
        focus = {
          kind: "running",
          cameraId: "virtual",
          exposureSeconds: 2,
          iso: 6400,
          points: [5.2, 3.1, 3.9].map((widthPx, index) => ({
            index,
            widthPx,
            starCount: 40,
            lightStops: 0,
          })),
          verdict: { kind: "passed", widthPx: 3.9, bestPx: 3.1, framesAgo: 1 },
          sentence: "The best lies behind: turn back a little.",
          pictureIndex: null,
        };
        return focus;
      },
    },
    {
      ...common,
      method: "post",
      path: "/api/focus/stop",
      handle: () => (focus = { kind: "off" }),
    },
  ];
}

async function open(part: string, viewport = LAPTOP): Promise<void> {
  ({ page, problems } = await openPage(browser, `${server.address}${part}`, viewport));
}

test.each([
  ["idle", "Before dark"],
  ["watching", "Watch"],
  ["finished", "Morning"],
] as const)("opens on the part that is due while the watch is %s", async (phase, part) => {
  night.changeWatch({ phase });
  await open("");
  await page.locator(`nav a[aria-current=page]:has-text("${part}")`).waitFor();
  expect(await page.evaluate(() => document.documentElement.dataset["theme"])).toBe(
    phase === "watching" ? "night" : "day",
  );
});

test("goes from part to part by the keys 1, 2 and 3", async () => {
  await open("#watch");
  await page.getByTestId("frame-picture").waitFor();
  for (const [key, heading] of [
    ["1", "Checklist"],
    ["3", "Keepers"],
    ["2", "Newest frame"],
  ] as const) {
    await page.keyboard.press(key);
    await page.getByRole("heading", { name: heading }).waitFor();
  }
  expect(problems).toEqual([]);
});

test("plans the night of the open place, and says in one sentence what cannot be", async () => {
  await open("#before");
  await page.getByRole("heading", { name: "The night", exact: true }).waitFor();
  await page.getByText("Face north").waitFor();
  await page.getByLabel("Latitude").fill("91");
  await page.keyboard.press("Tab");
  await page.getByRole("alert").waitFor();
  expect(await page.getByRole("alert").innerText()).toMatch(/[Ll]atitude/);
  await page.getByLabel("Latitude").fill("−68,9");
  await page.keyboard.press("Tab");
  await page.getByText("Face south").waitFor();
  await page.getByRole("alert").waitFor({ state: "detached" });
});

test("remembers a place, a kit and what was ticked", async () => {
  await open("#before");
  await page.getByLabel("Name of the place").fill("Jetty");
  await page.keyboard.press("Tab");
  await page.getByRole("button", { name: "Remember this place" }).click();
  await page.getByRole("button", { name: "Jetty", exact: true }).waitFor();
  expect(plans.places()).toMatchObject([{ name: "Jetty", latitudeDeg: 68.9 }]);

  await page.getByText("Kit: Wide lens").click();
  await page.getByLabel("Focal length").fill("24");
  await page.keyboard.press("Tab");
  await page.getByRole("button", { name: "Remember this kit" }).click();
  await expect.poll(() => plans.kits()[0]?.kit.focalLengthMm).toBe(24);

  await page.getByLabel("Done: Tripod low and firm").check();
  await page.reload();
  await expect.poll(() => page.getByLabel("Done: Tripod low and firm").isChecked()).toBe(true);
  expect(problems).toEqual([]);
});

test("hands the plan's limits to the watch", async () => {
  await open("#before");
  await page.getByRole("button", { name: "Give these limits to the watch" }).click();
  await page.getByText("The watch has them").waitFor();
  expect(night.commands.at(-1)?.command).toMatchObject({
    kind: "settings",
    settings: { focalLengthMm: 16, isoMax: 6400 },
  });
});

test("rehearses tonight with a progress bar", async () => {
  await open("#before");
  await page.getByRole("button", { name: "Rehearse" }).click();
  await page.getByRole("progressbar").waitFor();
  expect(plans.tonight().kind).toBe("running");
});

test("shows the focus aid's number, its trace and what to do with the ring", async () => {
  await open("#before");
  await page.getByRole("button", { name: "Start the focus aid" }).click();
  await page.getByText("The best lies behind: turn back a little.").waitFor();
  await page.getByText("3.9", { exact: true }).waitFor();
  await page.getByText("3.1", { exact: true }).waitFor();
  await page.getByRole("button", { name: "Stop the focus aid" }).click();
  await page.getByRole("button", { name: "Start the focus aid" }).waitFor();
});

test("takes keepers by hand and cuts a frame set at the shown frame", async () => {
  await open("#morning");
  await page.getByRole("button", { name: "Keep, 7" }).click();
  await page.getByText("your pick").waitFor();
  await page.getByRole("button", { name: "Leave out, 11" }).click();
  await page.getByRole("button", { name: "Show frame 11" }).waitFor({ state: "detached" });
  expect([...deliveries.picks]).toEqual([
    [7, "keep"],
    [11, "leave"],
  ]);
  await page.getByRole("button", { name: "Show frame 2" }).click();
  await page.keyboard.press("ArrowRight");
  await page.getByRole("button", { name: "Cut before the shown frame" }).click();
  await page.getByText("cut by hand").waitFor();
  await page.getByRole("button", { name: "Join to the set before" }).click();
  await page.getByText("cut by hand").waitFor({ state: "detached" });
  expect(problems).toEqual([]);
});

test("makes films in the background: progress, a cancel that can be gone back on, the files", async () => {
  await open("#morning");
  await page.getByLabel("VP9 (open)").uncheck();
  await page.getByLabel("24", { exact: true }).check();
  await page.getByRole("button", { name: "Make them" }).click();
  await page.getByText("Being made").waitFor();
  expect(deliveries.orders[0]).toMatchObject({ framesPerSecond: 24, videos: ["h264"], setIds: [] });
  deliveries.progress(0.42);
  await page.getByText(/film h264 of Set 1: 42.% of everything, about 2 min left/).waitFor();
  await page.getByRole("button", { name: "Cancel" }).click();
  await page.getByText("Stopped by hand.").waitFor();
  await page.getByRole("button", { name: "Go on" }).click();
  deliveries.finish();
  await page.getByRole("link", { name: "report of the night" }).waitFor();
  await page.getByText("Frame 4 was left out").waitFor();
});

test.each(["#before", "#morning"])("%s: axe finds no fault, by day and by night", async (part) => {
  await open(part);
  await page.getByRole("heading", { level: 2 }).nth(2).waitFor();
  for (const theme of ["day", "night"]) {
    for (let press = 0; press < 3; press += 1) {
      if ((await page.evaluate(() => document.documentElement.dataset["theme"])) === theme) break;
      await page.keyboard.press("n");
    }
    const size = theme === "day" ? LAPTOP : PHONE;
    await page.setViewportSize(size);
    await settle(page);
    expect(await axeFaults(page), `${theme}, ${size.width} px`).toEqual([]);
  }
  const { red, other } = await strongest(page, { fullPage: true });
  expect({ red, other }).toEqual({ red: 255, other: 0 });
  expect(await smallTargets(page)).toEqual([]);
  expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBe(PHONE.width);
});
