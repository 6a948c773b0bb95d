import { describe, expect, it } from "vitest";

import type { CameraEvent } from "../../../controller/cameras/camera.ts";
import { monotonicMs } from "../../../core/units.ts";
import { startSimulatedLoop } from "../../support/simulatedLoop.ts";

type Loop = ReturnType<typeof startSimulatedLoop>;

const orderFrame = ({ loop }: Loop, frameIndex: number): void =>
  loop.take({
    kind: "expose",
    order: {
      frameIndex,
      exposure: { exposureSeconds: 2, iso: 1600, fNumber: 2.8 },
      openAtMs: monotonicMs(0),
    },
  });

const failures = (events: readonly CameraEvent[]): readonly [number | null, string][] =>
  events.flatMap((event) =>
    event.kind === "failed" ? [[event.frameIndex, event.code] as [number | null, string]] : [],
  );

const opened = (events: readonly CameraEvent[]): readonly number[] =>
  events.flatMap((event) => (event.kind === "shutterOpened" ? [event.frameIndex] : []));

/** A night in one thread: what `during` does to a connected camera, and then its end. */
async function events(during: (night: Loop) => Promise<void>): Promise<readonly CameraEvent[]> {
  const night = startSimulatedLoop();
  await night.time.run(
    (async () => {
      night.loop.take({ kind: "connect" });
      await night.diary.next("connected");
      await during(night);
      night.loop.take({ kind: "close" });
      await night.ended;
    })(),
  );
  return night.diary.events;
}

describe("the exposer of frames", () => {
  it("lets four orders wait, fails the fifth alone, and exposes the four one after another", async () => {
    const heard = await events(async (night) => {
      for (const frameIndex of [0, 1, 2, 3, 4]) orderFrame(night, frameIndex);
      for (let frame = 0; frame < 4; frame += 1) await night.diary.next("frameArrived");
    });
    expect(failures(heard)).toEqual([[4, "camera.busy"]]);
    expect(opened(heard)).toEqual([0, 1, 2, 3]);
  });

  it("fails an order at once while no camera is connected", async () => {
    const night = startSimulatedLoop();
    orderFrame(night, 0);
    expect(failures(night.diary.events)).toEqual([[0, "camera.gone"]]);
    night.loop.take({ kind: "close" });
    await night.time.run(night.ended);
  });

  it("begins no frame once the end is asked for: neither one that waits nor a new one", async () => {
    const heard = await events(async (night) => {
      orderFrame(night, 0);
      orderFrame(night, 1);
      await night.diary.next("shutterOpened");
      night.loop.end({ closeNow: false });
      orderFrame(night, 2);
      await night.diary.next("shutterClosed");
    });
    expect(opened(heard)).toEqual([0]);
    const closed = heard.flatMap((event) => (event.kind === "shutterClosed" ? [event] : []));
    expect(closed.map(({ happened }) => happened.exposureSeconds)).toEqual([expect.closeTo(2, 6)]);
  });

  it("closes an open shutter at once for its own frame, and for no other", async () => {
    const heard = await events(async (night) => {
      orderFrame(night, 0);
      await night.diary.next("shutterOpened");
      night.loop.take({ kind: "closeShutter", frameIndex: 1 });
      night.loop.take({ kind: "closeShutter", frameIndex: 0 });
      await night.diary.next("shutterClosed");
    });
    const [closed] = heard.flatMap((event) => (event.kind === "shutterClosed" ? [event] : []));
    expect(closed!.happened.exposureSeconds).toBeLessThan(0.1);
  });
});
