import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

import type { Browser, Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from "vitest";

import { PlanService } from "../../controller/planning/planService.ts";
import { deliverRoutes } from "../../controller/web/deliverRoutes.ts";
import { planRoutes } from "../../controller/web/planRoutes.ts";
import { startWebServer, type WebServer } from "../../controller/web/server.ts";
import { copyOfBuiltPage } from "../support/builtPage.ts";
import { launchChromium } from "../support/chromium.ts";
import { createFakeAids, type FakeAids } from "../support/fakeAids.ts";
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
let aids: FakeAids;
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
    sensedPlace: () => ({ latitudeDeg: 64.123456, longitudeDeg: 20.5, elevationM: 119.7 }),
  });
  deliveries = createFakeDeliveries(night);
  aids = createFakeAids(night);
  server = await startWebServer({
    port: 0,
    service: night,
    uiDir,
    extraRoutes: [...planRoutes(plans, night), ...deliverRoutes(deliveries), ...aids.routes],
  });
});

afterEach(async () => {
  await page?.context().close();
  await server.close();
  await plans.close();
});

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
  await page.getByRole("button", { name: part }).click();
  await page.locator(`nav a[aria-current=page]:has-text("${part}")`).waitFor();
  expect(await page.evaluate(() => document.documentElement.dataset["theme"])).toBe(
    phase === "watching" ? "night" : "day",
  );
});

test.each([
  ["dark", "night"],
  ["light", "day"],
] as const)(
  "is %s outside, and a page whose watch is over shows itself by %s",
  async (outside, theme) => {
    night.changeView({ outside });
    night.changeWatch({ phase: "finished" });
    await open("");
    await page.getByRole("button", { name: "Morning" }).waitFor();
    expect(await page.evaluate(() => document.documentElement.dataset["theme"])).toBe(theme);
    const ground = await page.evaluate(() => getComputedStyle(document.body).backgroundColor);
    expect(ground === "rgb(0, 0, 0)").toBe(theme === "night");
  },
);

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

test("takes the place that a GNSS receiver tells, to some ten metres", async () => {
  await open("#before");
  await page.getByRole("button", { name: "Place from the GNSS receiver" }).click();
  await expect.poll(() => page.getByLabel("Latitude").inputValue()).toBe("64.1235");
  expect(await page.getByLabel("Longitude").inputValue()).toBe("20.5");
  expect(await page.getByLabel("Height above the sea").inputValue()).toBe("120");
  expect(problems).toEqual([]);
});

test("folds the place up for who has planned before, and goes to a panel by one touch", async () => {
  await open("#before", PHONE);
  await page.getByText("Face north").waitFor();
  await page.reload();
  await page.getByText("Face north").waitFor();
  expect(await page.getByLabel("Latitude").isVisible()).toBe(false);
  await page.getByRole("button", { name: "Checklist" }).click();
  await expect
    .poll(() =>
      page
        .getByRole("heading", { name: "Checklist" })
        .evaluate((heading) => heading.getBoundingClientRect().top < innerHeight / 2),
    )
    .toBe(true);
});

test("asks for a place that nobody has given, and assumes none", async () => {
  night.changeView({ night: null });
  await open("#before");
  await page.getByText("Where will you stand?").waitFor();
  expect(await page.getByLabel("Latitude").inputValue()).toBe("");
  expect(await page.getByText("Face north").count()).toBe(0);
  await page.getByLabel("Latitude").fill("64.1");
  await page.getByLabel("Longitude").fill("20.5");
  await page.keyboard.press("Tab");
  await page.getByText("Face north").waitFor();
});

test("begins the watch at the end of the evening's steps, and goes along to it", async () => {
  night.changeWatch({ phase: "idle" });
  await open("#before");
  await page.getByRole("button", { name: "Begin now" }).click();
  await page.getByTestId("frame-picture").waitFor();
  expect(night.commands.map(({ command }) => command.kind)).toEqual(["start"]);
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
  await page.locator("summary", { hasText: "Rehearse tonight" }).click();
  await page.getByRole("button", { name: "Rehearse", exact: true }).click();
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

test("checks the camera: steps while it runs, then the table and what was written", async () => {
  await open("#before");
  await page.getByRole("heading", { name: "Bench check" }).click();
  await page.getByRole("button", { name: "Start the bench check" }).click();
  await page.getByText("… Exposing 1, 2 and 5 s, twice.").waitFor();
  await page.getByText("✓ Connecting.").waitFor();
  aids.bench = {
    kind: "done",
    cameraId: "virtual",
    rows: [{ name: "dead time", words: "812.0 ms (790.1 to 840.2)" }],
    written: "profiles/cameras/measured-one.json",
    sentence: "Exposures came out 31.0 ms longer than held; the watch takes that off.",
  };
  await page.getByText("Exposures came out 31.0 ms longer").waitFor();
  await page.getByRole("row", { name: "dead time 812.0 ms (790.1 to 840.2)" }).waitFor();
  await page.getByText("profiles/cameras/measured-one.json").waitFor();
  await page.getByRole("button", { name: "Check again" }).waitFor();
  expect(problems).toEqual([]);
});

test("names a Kp feed, and says that it cannot be reached without waiting for it", async () => {
  await open("#before");
  await page.getByLabel("Address of a public Kp feed").fill("http://127.0.0.1:9/kp.json");
  await page.keyboard.press("Tab");
  await page.getByText("The Kp feed cannot be reached or read.").first().waitFor();
  await page.getByRole("heading", { name: "The night", exact: true }).waitFor();
  await page.reload();
  await expect
    .poll(() => page.getByLabel("Address of a public Kp feed").inputValue())
    .toBe("http://127.0.0.1:9/kp.json");
});

test("takes lens and card from the camera when it tells, and says what it reported", async () => {
  night.cameraKit = () => ({
    fNumberLadder: [2, 2.8],
    focalLengthMm: 20,
    imageWidthPx: null,
    freeBytes: 64e9,
  });
  await open("#before");
  await page.getByText("Kit: Wide lens").click();
  await page.getByRole("button", { name: "Ask the camera" }).click();
  await page
    .getByText("The camera reported: widest aperture, focal length, room on the card.")
    .waitFor();
  expect(await page.getByLabel("Focal length").inputValue()).toBe("20");
  expect(await page.getByLabel("Card", { exact: true }).inputValue()).toBe("64");
});

test("marks horizon, clipped lamps and town light on the test frame", async () => {
  aids.framing = {
    kind: "done",
    cameraId: "virtual",
    happened: { exposureSeconds: 4, iso: 12800, fNumber: 2.8 },
    reading: {
      horizon: { kind: "found", tiltDeg: 2.1, y: 0.8, roughness: 0.01, rows: [] },
      isLevel: false,
      lamps: [{ x: 0.25, y: 0.75, clippedPx: 90, kind: "lamp" }],
      townGlow: [{ x: 0.8, y: 0.7, width: 0.2, stops: 1.2 }],
      remarks: ["A lamp clips at the lower left."],
    },
    stars: {
      kind: "solved",
      centre: { bearingDeg: 338, elevationDeg: 27 },
      ...{ centreSigmaDeg: 0.004, tiltDeg: 0.1, focalLengthMm: 16.2, degPerPx: 0.08 },
      ...{ starCount: 88, trailSecondsMax: 9.5 },
      sentences: ["You point at 338° and 27° high; the oval stands 9° to the right."],
      marks: [{ kind: "magneticZenith", x: 0.5, y: 0.25 }],
      oval: [
        { x: 0.1, y: 0.6 },
        { x: 0.9, y: 0.55 },
      ],
    },
    pictureIndex: 1,
  };
  await open("#before");
  await page.getByText("A lamp clips at the lower left.").waitFor();
  await page
    .getByText("You point at 338° and 27° high; the oval stands 9° to the right.")
    .waitFor();
  expect(await page.locator("polyline title").textContent()).toMatch(/oval/);
  expect(await page.locator("path title", { hasText: "magnetic zenith" }).count()).toBe(1);
  const lamp = page.locator("circle", { has: page.locator("title", { hasText: "clips" }) });
  expect(await lamp.getAttribute("cx")).toBe("25");
  expect(await page.locator("line title", { hasText: "Horizon, tilted by 2.1°" }).count()).toBe(1);
  expect(await page.locator("path title", { hasText: "Town light" }).count()).toBe(1);
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

test("finds frames by brightness, and opens the one that is chosen", async () => {
  await open("#morning");
  await page.getByRole("heading", { name: "Find frames" }).click();
  await page.getByLabel("Sky at least").fill("much");
  await page.getByRole("button", { name: "Find", exact: true }).click();
  await page.getByText("A sky brightness is a number of mcd/m²").waitFor();
  await page.getByLabel("Sky at least").fill("0.1");
  await page.getByRole("button", { name: "Find", exact: true }).click();
  await page.getByText("2 frames.").waitFor();
  await page.getByRole("button", { name: /^Show frame 3 of/ }).click();
  await page.locator('[data-testid=frame-picture][src*="/frames/3/"]').waitFor();
});

test("prunes only when asked, says what goes, and takes a no", async () => {
  await open("#morning");
  await page.getByRole("heading", { name: "Copy, check and prune" }).click();
  await page.getByLabel("all that you did not pick").check();
  const look = page.getByRole("button", { name: "What would go?" });
  await look.click();
  await page.getByText(/7 previews, 2.1.MB, would be deleted/).waitFor();
  await page.getByRole("button", { name: "Keep them" }).click();
  await look.click();
  expect(aids.upkeepOrders).toEqual([]);
  await page.getByRole("button", { name: "Yes, delete them" }).click();
  await page.getByText("7 previews were deleted").waitFor();
  expect(aids.upkeepOrders).toEqual([{ kind: "prune", rule: "unpicked", previewCount: 7 }]);
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
      await page.keyboard.press("t");
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
