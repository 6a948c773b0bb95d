import { describe, expect, it } from "vitest";

import type { FromShutter } from "../../../controller/shutter/shutterMessages.ts";
import { ShutterReports } from "../../../controller/shutter/shutterReports.ts";
import type { OwnedBytes } from "../../../controller/workers/ownedBytes.ts";
import { NightError } from "../../../core/errors.ts";
import { monotonicMs, utcMs, type MonotonicMs } from "../../../core/units.ts";
import { SimulatedTime } from "../../support/simulatedTime.ts";

const RATE = 10;

function reports(looseSinceMs: MonotonicMs | null = null) {
  const time = new SimulatedTime({ lateMs: 0 });
  const sent: { message: FromShutter; handedOver: readonly OwnedBytes[] }[] = [];
  const origin = { rate: RATE, realOriginMs: time.nowMs(), startUtcMs: utcMs(0) };
  const made = new ShutterReports({
    ...{ origin, time },
    send: (message, handedOver = []) => sent.push({ message, handedOver }),
    looseSinceMs: () => looseSinceMs,
  });
  return { made, sent, time };
}

describe("reports of the timing thread", () => {
  it("give moments in the night's time, which passes 10 times as fast as the thread's", async () => {
    const { made, sent, time } = reports();
    const answeredMs = time.nowMs() + 250;
    made.tellOpened({ frameIndex: 3 } as never, { answeredMs } as never);
    expect(sent.map(({ message }) => message)).toEqual([
      { kind: "event", event: { kind: "shutterOpened", frameIndex: 3, atMs: 2500 } },
    ]);
    expect(made.nightNow()).toBe(0);
  });

  it("hand a picture over instead of copying it", () => {
    const { made, sent } = reports();
    const jpeg = new Uint8Array([0xff, 0xd8]);
    made.tell({ kind: "frameArrived", frameIndex: 3, jpeg } as never);
    made.tell({ kind: "ready", atMs: monotonicMs(0) });
    const [picture, ready] = sent;
    expect(picture!.handedOver.map((bytes) => [...bytes])).toEqual([[0xff, 0xd8]]);
    expect(picture!.message).toMatchObject({ event: { jpeg: picture!.handedOver[0] } });
    expect(ready!.handedOver).toEqual([]);
  });

  it.each([
    [null, {}],
    [monotonicMs(4000), { looseSinceMs: 4000 }],
  ])("say of a failure since when nobody controls the shutter: %j", (looseSinceMs, loose) => {
    const { made, sent } = reports(looseSinceMs);
    const sentence = "The camera is not connected.";
    made.fail(new NightError("camera.gone", sentence), 7, "gone");
    const failed = { kind: "failed", code: "camera.gone", frameIndex: 7, gone: true, ...loose };
    expect(sent[0]!.message).toEqual({
      kind: "event",
      event: { ...failed, sentence: expect.stringContaining(sentence) as string },
    });
  });
});
