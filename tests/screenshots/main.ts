import { mkdirSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { parseArgs } from "node:util";

import type { Browser } from "playwright-core";

import { PlanService } from "../../controller/planning/planService.ts";
import { deliverRoutes } from "../../controller/web/deliverRoutes.ts";
import { planRoutes } from "../../controller/web/planRoutes.ts";
import { startWebServer } from "../../controller/web/server.ts";
import { settle } from "../browser/openedPage.ts";
import { copyOfBuiltPage } from "../support/builtPage.ts";
import { launchChromium } from "../support/chromium.ts";
import { createFakeAids } from "../support/fakeAids.ts";
import { createFakeDeliveries } from "../support/fakeDeliveries.ts";
import { createFakeNight, type FakeNight } from "../support/fakeNight.ts";
import { fillNight } from "../support/livelyNight.ts";
import { SIZES, VIEWS, type View } from "./views.ts";

const USAGE = `npm run screenshots -- [--out FOLDER] [--only WORD]
Writes every view and state of the page as PNG at 360, 800, 1366 and 1920 px, by night and by day.
  --out FOLDER   where they go (screenshots)
  --only WORD    only views and sizes whose file name has this in it
`;

/** Enough for dusk, a breakup and what comes after it. */
const FRAME_COUNT = 420;

const { values } = parseArgs({
  options: {
    out: { type: "string", default: "screenshots" },
    only: { type: "string", default: "" },
    help: { type: "boolean", default: false },
  },
});

if (values.help) process.stdout.write(USAGE);
else await takeAll(values.out, values.only);

async function takeAll(out: string, only: string): Promise<void> {
  mkdirSync(out, { recursive: true });
  const uiDir = await copyOfBuiltPage();
  const dir = mkdtempSync(join(tmpdir(), "nattvakt-screenshots-"));
  const browser = await launchChromium();
  try {
    for (const view of VIEWS) await takeView(browser, { view, uiDir, dir, out, only });
  } finally {
    await browser.close();
    for (const folder of [dir, uiDir]) rmSync(folder, { recursive: true, force: true });
  }
}

async function takeView(
  browser: Browser,
  parts: { view: View; uiDir: string; dir: string; out: string; only: string },
): Promise<void> {
  const { view, uiDir, dir, out, only } = parts;
  const names = SIZES.flatMap((size) =>
    (["night", "day"] as const).map((theme) => ({
      size,
      theme,
      name: `${view.name}-${size.width}-${theme}.png`,
    })),
  ).filter(({ name }) => name.includes(only));
  if (names.length === 0) return;
  const framesDir = join(dir, "frames");
  const night = createFakeNight({ framesDir });
  await fillNight(night, { framesDir, count: view.frameCount ?? FRAME_COUNT });
  view.prepare?.(night);
  const { server, plans } = await serve(night, { uiDir, dir });
  for (const { size, theme, name } of names) {
    const context = await browser.newContext({ viewport: size, reducedMotion: "reduce" });
    const page = await context.newPage();
    await page.addInitScript((themeChoice) => {
      localStorage.setItem("nattvakt.preferences", JSON.stringify({ themeChoice }));
    }, theme);
    await page.goto(`${server.address}${view.hash}`);
    await settle(page);
    await view.act?.(page);
    await settle(page);
    await page.screenshot({ path: join(out, name), fullPage: view.isWhole ?? false });
    process.stdout.write(`${name}\n`);
    await context.close();
  }
  await server.close();
  await plans.close();
}

async function serve(
  night: FakeNight,
  { uiDir, dir }: { uiDir: string; dir: string },
): Promise<{ server: Awaited<ReturnType<typeof startWebServer>>; plans: PlanService }> {
  const plans = new PlanService({
    dataFolder: mkdtempSync(join(dir, "plans-")),
    kpFeedUrl: null,
    nowUtcMs: () => night.view().nowUtcMs,
    sensedPlace: () => null,
  });
  const extraRoutes = [
    ...planRoutes(plans, night),
    ...deliverRoutes(createFakeDeliveries(night)),
    ...createFakeAids(night).routes,
  ];
  const server = await startWebServer({ port: 0, service: night, uiDir, extraRoutes });
  return { server, plans };
}
