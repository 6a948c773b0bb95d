import { readFileSync } from "node:fs";
import { join } from "node:path";
import type { Browser } from "playwright-core";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { launchChromium } from "../support/chromium.ts";
import { deliverInTest } from "../support/deliverInTest.ts";
import { renderNight } from "../support/renderedNight.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";

const FRAMES = 25;

describe("a delivered film of 25 frames at 25 a second", () => {
  let browser: Browser;

  beforeAll(async () => {
    browser = await launchChromium();
  }, 15 * 60_000);

  afterAll(async () => {
    await browser?.close();
  });

  it("plays to its end in a browser, as H.264 and as VP9", async () => {
    const size = { widthPx: 96, heightPx: 64 };
    const { nightDir } = await renderNight({ dataDir: temporaryFolder(), count: FRAMES, ...size });
    const outDir = join(nightDir, "deliver");
    await deliverInTest(nightDir, outDir, { videos: ["h264", "vp9"] });
    const page = await browser.newPage();
    for (const [file, type] of [
      ["film-made-up-000000.mp4", "video/mp4"],
      ["film-made-up-000000.webm", "video/webm"],
    ]) {
      const base64 = readFileSync(join(outDir, file!)).toString("base64");
      await page.setContent(`<video muted src="data:${type};base64,${base64}"></video>`);
      const played = await page.locator("video").evaluate(async (element) => {
        const video = element as HTMLVideoElement;
        const ended = new Promise((resolve) => video.addEventListener("ended", resolve));
        await video.play();
        await ended;
        const { videoWidth, videoHeight, duration, error } = video;
        return { videoWidth, videoHeight, duration, isFaulty: error !== null };
      });
      expect(played, file).toMatchObject({ videoWidth: 96, videoHeight: 64, isFaulty: false });
      expect(played.duration, file).toBeCloseTo(1, 1);
    }
  }, 60_000);
});
