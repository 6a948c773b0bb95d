import { rmSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it, onTestFinished } from "vitest";
import { openFolderCamera } from "../../../../controller/cameras/folder/folderCamera.ts";
import { createClock, startOrigin } from "../../../../controller/timing/clock.ts";
import { utcMs } from "../../../../core/units.ts";
import { keepDiary, orderFrame } from "../../../support/cameraDiary.ts";
import { FakeCamera } from "../../../support/fakeCamera.ts";
import { smallJpeg } from "../../../support/scriptedCamera.ts";
import { temporaryFolder } from "../../../support/temporaryFolder.ts";

function make() {
  // Fifty night seconds a real one: a frame of 4 s takes 80 ms.
  const origin = startOrigin({ rate: 50, startUtcMs: utcMs(Date.UTC(2027, 2, 24, 18)) });
  const clock = createClock(origin);
  const body = new FakeCamera({ clock, picture: () => Uint8Array.from([1, 2, 3]) });
  const framesFolder = temporaryFolder();
  const camera = openFolderCamera({ body, origin, framesFolder, folder: { pollMs: 20 } });
  onTestFinished(() => camera.close());
  return { body, framesFolder, camera, diary: keepDiary((one) => camera.onEvent(one)) };
}

describe("a body on its cable whose frames arrive in a folder", () => {
  it("is released and set over the cable, and its picture is the folder's", async () => {
    const { body, framesFolder, camera, diary } = make();
    camera.connect();
    await diary.next("connected");
    orderFrame(camera, 0, { iso: 3200 });
    expect((await diary.next("shutterClosed")).happened.iso).toBe(3200);
    await diary.next("ready");
    expect(body.orders).toHaveLength(1);
    expect(diary.kinds()).not.toContain("frameArrived");
    writeFileSync(join(framesFolder, "A1.JPG"), smallJpeg());
    const arrived = await diary.next("frameArrived");
    expect(arrived).toMatchObject({ frameIndex: 0, cameraName: "A1.JPG" });
    expect(arrived.jpeg).toHaveLength(64);
    expect((await camera.listCard()).map(({ cameraName }) => cameraName)).toEqual(["A1.JPG"]);
  });

  it("is not connected without its folder, and that is said", async () => {
    const { body, framesFolder, camera, diary } = make();
    rmSync(framesFolder, { recursive: true });
    camera.connect();
    expect(await diary.next("failed")).toMatchObject({ code: "settings.invalid", gone: true });
    expect(body.connectCount).toBe(0);
  });
});
