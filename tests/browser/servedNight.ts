import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

import type { Browser, Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach } from "vitest";

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
import { LAPTOP, openPage } from "./openedPage.ts";

/** A made-up night behind a real server, looked at in a real browser; new for every test. */
export type ServedNight = {
  night: FakeNight;
  deliveries: FakeDeliveries;
  aids: FakeAids;
  server: WebServer;
  browser: Browser;
  page: Page;
  problems: string[];
  /** Opens the page at a place of it and waits for its first frame. */
  open(hash?: string, viewport?: { width: number; height: number }): Promise<void>;
};

/** @param options.frameCount  Frames, one a minute. */
export function servedNight(options: { frameCount: number }): ServedNight {
  let uiDir: string;
  let dir: string;
  let plans: PlanService;
  const at = {
    open: async (hash = "#watch", viewport = LAPTOP) => {
      const { page, problems } = await openPage(
        at.browser,
        `${at.server.address}${hash}`,
        viewport,
      );
      [at.page, at.problems] = [page, problems];
      await page.getByTestId("frame-picture").waitFor();
    },
  } as ServedNight;

  beforeAll(async () => {
    uiDir = await copyOfBuiltPage();
    at.browser = await launchChromium();
    dir = mkdtempSync(join(tmpdir(), "nattvakt-served-"));
  }, 15 * 60_000);

  afterAll(async () => {
    await at.browser?.close();
    for (const folder of [dir, uiDir]) rmSync(folder, { recursive: true, force: true });
  });

  beforeEach(async () => {
    const framesDir = join(dir, "frames");
    at.night = createFakeNight({ framesDir });
    await fillNight(at.night, {
      framesDir,
      count: options.frameCount,
      picture: { width: 240, height: 160 },
    });
    at.deliveries = createFakeDeliveries(at.night);
    at.aids = createFakeAids(at.night);
    plans = new PlanService({
      dataFolder: mkdtempSync(join(dir, "plans-")),
      kpFeedUrl: null,
      nowUtcMs: () => Date.UTC(2026, 10, 25, 15),
      sensedPlace: () => null,
    });
    at.server = await startWebServer({
      port: 0,
      service: at.night,
      uiDir,
      extraRoutes: [
        ...planRoutes(plans, at.night),
        ...deliverRoutes(at.deliveries),
        ...at.aids.routes,
      ],
    });
  });

  afterEach(async () => {
    await at.page?.context().close();
    await at.server.close();
    await plans.close();
  });

  return at;
}
