import { afterEach, describe, expect, it } from "vitest";
import { OPERATIONS } from "../../../core/ptp/operations.ts";
import { EVENTS } from "../../../core/ptp/events.ts";
import { smallJpeg, startScriptedLoop, type ScriptedLoop } from "../../support/scriptedCamera.ts";

describe("a shutter that is released by other means", () => {
  let scripted: ScriptedLoop;
  afterEach(async () => await scripted.stop());

  it("brings its file all the same, and neither opens nor closes over the cable", async () => {
    scripted = await startScriptedLoop();
    const { camera, loop, diary, messages } = scripted;
    loop.take({ kind: "connect" });
    await diary.next("connected");
    const exposure = { exposureSeconds: 4, iso: 800, fNumber: 2.8 };
    loop.take({ kind: "prepare", requestId: 9, exposure });
    while (!messages.some(({ kind }) => kind === "prepared")) {
      await new Promise((resolve) => setTimeout(resolve, 5));
    }
    expect(messages.find(({ kind }) => kind === "prepared")).toMatchObject({
      ...{ requestId: 9, exposure },
    });
    for (const frameIndex of [0, 1]) {
      loop.take({ kind: "noteReleased", frameIndex, what: "opened" });
      loop.take({ kind: "noteReleased", frameIndex, what: "closed" });
      const handle = 0x100 + frameIndex;
      camera.card.set(handle, { info: { filename: `A${frameIndex}.JPG` }, bytes: smallJpeg() });
      camera.peer.event(EVENTS.ObjectAdded, 0, [handle]);
      expect(await diary.next("frameArrived")).toMatchObject({ frameIndex, cameraHandle: handle });
    }
    expect(camera.asked).not.toContain(OPERATIONS.InitiateOpenCapture.code);
    expect(camera.asked).not.toContain(OPERATIONS.TerminateOpenCapture.code);
  });

  it("is reported missing when the camera never names a file and the card has none", async () => {
    scripted = await startScriptedLoop();
    const { loop, diary } = scripted;
    loop.take({ kind: "connect" });
    await diary.next("connected");
    loop.take({ kind: "noteReleased", frameIndex: 3, what: "opened" });
    loop.take({ kind: "noteReleased", frameIndex: 3, what: "closed" });
    expect(await diary.next("frameMissing")).toMatchObject({ frameIndex: 3 });
  });
});
