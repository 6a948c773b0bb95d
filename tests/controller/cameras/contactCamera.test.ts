import { writeFileSync } from "node:fs";
import { join } from "node:path";
import { afterEach, describe, expect, it } from "vitest";
import type { Camera } from "../../../controller/cameras/camera.ts";
import { openContactCamera } from "../../../controller/cameras/contactCamera.ts";
import { createClock, startOrigin } from "../../../controller/clock.ts";
import { utcMs } from "../../../core/units.ts";
import { keepDiary, orderFrame } from "../../support/cameraDiary.ts";
import { fileRelease } from "../../support/fileRelease.ts";
import { smallJpeg } from "../../support/scriptedCamera.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

describe("a camera on a release contact", () => {
  let camera: Camera;
  afterEach(async () => await camera.close());

  function make() {
    const folder = temporaryFolder();
    const origin = startOrigin({ rate: 1, startUtcMs: utcMs(Date.UTC(2027, 2, 24, 18)) });
    camera = openContactCamera({
      ...{ cameraId: "camera-1", origin, fixedIso: 1600, busySeconds: 0.05 },
      release: fileRelease(join(temporaryFolder(), "line")),
      framesFolder: folder,
      contact: {
        main: new URL("../../support/fileContactMain.ts", import.meta.url),
        rescue: () => Promise.resolve(),
      },
      folder: { pollMs: 20 },
    });
    return { folder, clock: createClock(origin), diary: keepDiary((one) => camera.onEvent(one)) };
  }

  it("takes a frame of 0.3 s, and says that it stands at the ISO set by hand", async () => {
    const { folder, diary } = make();
    camera.connect();
    const { description } = await diary.next("connected");
    expect(description).toMatchObject({ isoLadder: [], fixedIso: 1600, fNumber: null });
    orderFrame(camera, 0, { exposureSeconds: 0.3, iso: 800 });
    const opened = await diary.next("shutterOpened");
    const closed = await diary.next("shutterClosed");
    expect(closed.happened).toMatchObject({ iso: 1600, fNumber: 2.8 });
    expect(closed.happened.exposureSeconds).toBeCloseTo((closed.atMs - opened.atMs) / 1000, 6);
    expect(closed.happened.exposureSeconds).toBeGreaterThanOrEqual(0.299);
    await diary.next("ready");
    writeFileSync(join(folder, "A1.JPG"), smallJpeg());
    expect(await diary.next("frameArrived")).toMatchObject({ frameIndex: 0, isOriginal: true });
  });

  it("opens the contact early when the shutter is to be closed", async () => {
    const { diary } = make();
    camera.connect();
    await diary.next("connected");
    orderFrame(camera, 4, { exposureSeconds: 3600 });
    await diary.next("shutterOpened");
    camera.closeShutter(4);
    const { happened } = await diary.next("shutterClosed");
    expect(happened.exposureSeconds).toBeLessThan(1800);
  });

  it("refuses a frame while it is not connected", async () => {
    const { diary } = make();
    orderFrame(camera, 0);
    expect(await diary.next("failed")).toMatchObject({ code: "release.gone", gone: true });
  });
});
