import sharp from "sharp";
import { describe, expect, it, vi } from "vitest";
import { FocusAid } from "../../../controller/focus/focusAid.ts";
import { TrialCamera } from "../../../controller/focus/trialCamera.ts";
import { encodeSrgb } from "../../../core/photometry/srgb.ts";
import { createRandom } from "../../../core/random.ts";
import { FakeCamera } from "../../support/fakeCamera.ts";
import { createManualClock } from "../../support/manualClock.ts";

const WIDTH = 480;
const HEIGHT = 320;

/** Sixty Gaussian stars of one width, in linear light on a dark sky, through sRGB with noise. */
async function starsOfWidth(fwhmPx: number, seed: string): Promise<Uint8Array> {
  const random = createRandom("positions");
  const noise = createRandom(seed);
  const light = new Float64Array(WIDTH * HEIGHT).fill(0.012);
  const sigma = fwhmPx / 2.3548;
  for (let star = 0; star < 60; star += 1) {
    const x0 = 15 + random.uniform() * (WIDTH - 30);
    const y0 = 15 + random.uniform() * (HEIGHT - 30);
    const peak = (2 + 4 * random.uniform()) / (fwhmPx * fwhmPx);
    const reach = Math.ceil(4 * sigma);
    for (let y = Math.floor(y0 - reach); y <= y0 + reach; y += 1) {
      for (let x = Math.floor(x0 - reach); x <= x0 + reach; x += 1) {
        if (x < 0 || y < 0 || x >= WIDTH || y >= HEIGHT) continue;
        const r2 = (x - x0) ** 2 + (y - y0) ** 2;
        light[y * WIDTH + x]! += peak * Math.exp(-r2 / (2 * sigma * sigma));
      }
    }
  }
  const rgb = new Uint8Array(WIDTH * HEIGHT * 3);
  for (let pixel = 0; pixel < light.length; pixel += 1) {
    const code = 255 * encodeSrgb(light[pixel]!);
    for (let channel = 0; channel < 3; channel += 1) {
      rgb[pixel * 3 + channel] = Math.max(0, Math.min(255, code + noise.normal()));
    }
  }
  const raw = { width: WIDTH, height: HEIGHT, channels: 3 as const };
  return await sharp(rgb, { raw }).jpeg({ quality: 97, chromaSubsampling: "4:4:4" }).toBuffer();
}

describe("the focus aid", () => {
  async function turnThrough(widths: readonly number[]) {
    const clock = createManualClock();
    const camera = new FakeCamera({
      clock,
      picture: (_exposure, index) => starsOfWidth(widths[index] ?? widths.at(-1)!, `n${index}`),
    });
    clock.isAtRest = () => camera.developingCount === 0;
    const aid = new FocusAid(() => new TrialCamera(camera, clock));
    aid.start({ cameraId: "camera-1" });
    const measured = (): number => {
      const view = aid.view();
      return view.kind === "running" ? view.points.length : 0;
    };
    await vi.waitFor(
      async () => {
        await clock.advanceTo(clock.monotonicMs() + 1000);
        expect(measured()).toBeGreaterThanOrEqual(widths.length);
      },
      { timeout: 30_000, interval: 1 },
    );
    const view = aid.view();
    const picture = aid.picture();
    let isStopped = false;
    void aid.stop().then(() => (isStopped = true));
    await vi.waitFor(
      async () => {
        await clock.advanceTo(clock.monotonicMs() + 500);
        expect(isStopped).toBe(true);
      },
      { timeout: 30_000, interval: 1 },
    );
    return { view, picture, camera, after: aid.view() };
  }

  it("says that the best was passed while the ring goes on, and shows a star", async () => {
    const { view, picture, camera, after } = await turnThrough([8, 6, 4, 3, 4.2, 5.5]);
    if (view.kind !== "running") throw new Error(JSON.stringify(view));
    expect(view.verdict.kind).toBe("passed");
    const best = Math.min(...view.points.map((point) => point.widthPx ?? Infinity));
    expect(Math.abs(best / 3 - 1)).toBeLessThan(0.1);
    expect(view.sentence).toMatch(/Turn back/);
    expect((await sharp(picture!).metadata()).width).toBe(384);
    expect(after.kind).toBe("off");
    expect(camera.isClosed).toBe(true);
  });

  it("reports a camera that fails, and releases it", async () => {
    const clock = createManualClock();
    const camera = new FakeCamera({ clock, picture: () => starsOfWidth(3, "n") });
    camera.fault = () => {
      camera.emit({
        kind: "failed",
        code: "camera.gone",
        sentence: "The link to the camera is gone.",
        frameIndex: 0,
        gone: true,
      });
      return true;
    };
    const aid = new FocusAid(() => new TrialCamera(camera, clock));
    aid.start({ cameraId: "camera-1" });
    await vi.waitFor(() => expect(aid.view().kind).toBe("failed"));
    expect(aid.view()).toMatchObject({ sentence: "The link to the camera is gone." });
    await vi.waitFor(() => expect(camera.isClosed).toBe(true));
  });
});
