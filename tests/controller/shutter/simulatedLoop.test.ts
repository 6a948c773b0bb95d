import { describe, expect, it } from "vitest";
import type { CameraEvent } from "../../../controller/cameras/camera.ts";
import { monotonicMs } from "../../../core/units.ts";
import { startSimulatedLoop } from "../../support/simulatedLoop.ts";

const FRAMES = 40;
const EXPOSURE_SECONDS = 15;

/** Forty frames of 15 s back to back, each ordered as soon as the camera is ready. */
async function takeFrames(busy = {}): Promise<readonly CameraEvent[]> {
  const { time, loop, diary, ended } = startSimulatedLoop({}, busy);
  const order = (frameIndex: number): void =>
    loop.take({
      kind: "expose",
      order: {
        frameIndex,
        exposure: { exposureSeconds: EXPOSURE_SECONDS, iso: 1600, fNumber: 2.8 },
        openAtMs: monotonicMs(0),
      },
    });
  const night = async (): Promise<void> => {
    loop.take({ kind: "connect" });
    await diary.next("connected");
    for (let frameIndex = 0; frameIndex < FRAMES; frameIndex += 1) {
      order(frameIndex);
      await diary.next("ready");
      await diary.next("frameArrived");
    }
    loop.take({ kind: "close" });
    await ended;
  };
  await time.run(night());
  return diary.events;
}

describe("a timing loop with a simulated camera, in one thread", () => {
  it("exposes 40 frames of 15 s, ten minutes, to a microsecond, with no clock but the given one", async () => {
    const events = await takeFrames();
    const closed = events.filter((event) => event.kind === "shutterClosed");
    expect(closed.map(({ frameIndex }) => frameIndex)).toEqual(
      Array.from({ length: FRAMES }, (_, index) => index),
    );
    for (const { happened } of closed.slice(1)) {
      expect(happened.exposureSeconds).toBeCloseTo(EXPOSURE_SECONDS, 6);
    }
    expect(events.filter(({ kind }) => kind === "failed")).toEqual([]);
    expect(closed.at(-1)!.atMs).toBeGreaterThan(FRAMES * EXPOSURE_SECONDS * 1000);
    expect(closed.at(-1)!.atMs).toBeLessThan(FRAMES * (EXPOSURE_SECONDS + 1.1) * 1000);
  });

  it.each([0, 35])(
    "tells with each frame that its closing was %i ms late, and how it is scheduled",
    async (lateMs) => {
      const events = await takeFrames({ lateMs });
      const closings = events.flatMap((one) => (one.kind === "shutterClosed" ? [one.closing] : []));
      expect(closings).toHaveLength(FRAMES);
      for (const closing of closings) {
        expect(closing?.scheduling).toBe("realTime");
        expect(closing?.lateMs).toBeCloseTo(lateMs, 6);
      }
    },
  );

  it("tells the same night twice, to the millisecond", async () => {
    expect(await takeFrames()).toEqual(await takeFrames());
  });
});
