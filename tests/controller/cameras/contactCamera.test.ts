import { writeFileSync } from "node:fs";
import { join } from "node:path";
import { afterEach, describe, expect, it } from "vitest";
import type { Camera } from "../../../controller/cameras/camera.ts";
import { openContactCamera } from "../../../controller/cameras/contactCamera.ts";
import { createClock, startOrigin } from "../../../controller/timing/clock.ts";
import { utcMs } from "../../../core/units.ts";
import type { Exposure } from "../../../core/exposure/exposure.ts";
import type { Scheduling } from "../../../core/words/timingWords.ts";
import { mayBeRealTime } from "../../support/mayBeRealTime.ts";
import { keepDiary, orderFrame } from "../../support/cameraDiary.ts";
import { FakeCamera } from "../../support/fakeCamera.ts";
import { contactMovements, fileRelease } from "../../support/fileRelease.ts";
import { smallJpeg } from "../../support/scriptedCamera.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

describe("a camera on a release contact", () => {
  let camera: Camera;
  afterEach(async () => await camera.close());

  function make() {
    const folder = temporaryFolder();
    const granted: Scheduling[] = [];
    const origin = startOrigin({ rate: 1, startUtcMs: utcMs(Date.UTC(2027, 2, 24, 18)) });
    camera = openContactCamera({
      ...{ cameraId: "camera-1", origin, busySeconds: 0.05 },
      release: fileRelease(join(temporaryFolder(), "line")),
      side: { kind: "folder", framesFolder: folder, fixedIso: 1600 },
      contact: {
        main: new URL("../../support/fileContactMain.ts", import.meta.url),
        rescue: () => Promise.resolve(),
      },
      folder: { pollMs: 20 },
      onScheduled: (scheduling) => granted.push(scheduling),
    });
    return {
      folder,
      granted,
      clock: createClock(origin),
      diary: keepDiary((one) => camera.onEvent(one)),
    };
  }

  it("takes a frame of 0.3 s, and says that it stands at the ISO set by hand", async () => {
    const { folder, diary, granted } = make();
    camera.connect();
    const { description } = await diary.next("connected");
    expect(description).toMatchObject({ isoLadder: [], fixedIso: 1600, fNumber: null });
    orderFrame(camera, 0, { exposureSeconds: 0.3, iso: 800 });
    const opened = await diary.next("shutterOpened");
    const closed = await diary.next("shutterClosed");
    expect(closed.happened).toMatchObject({ iso: 1600, fNumber: 2.8 });
    expect(closed.happened.exposureSeconds).toBeCloseTo((closed.atMs - opened.atMs) / 1000, 6);
    expect(closed.happened.exposureSeconds).toBeGreaterThanOrEqual(0.299);
    // Its own figure is taken before the line moves, the times of the contact after it.
    expect(closed.closing!.lateMs).toBeGreaterThanOrEqual(0);
    expect(closed.closing!.lateMs).toBeLessThanOrEqual(closed.atMs - opened.atMs - 299);
    expect(closed.closing!.scheduling).toBe(mayBeRealTime() ? "realTime" : granted[0]);
    expect(granted).toHaveLength(1);
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
    const { happened, closing } = await diary.next("shutterClosed");
    expect(happened.exposureSeconds).toBeLessThan(1800);
    expect(closing).toBeUndefined();
  });

  it("refuses a frame while it is not connected", async () => {
    const { diary } = make();
    orderFrame(camera, 0);
    expect(await diary.next("failed")).toMatchObject({ code: "release.gone", gone: true });
  });
});

describe("a camera released by a contact whose cable carries the rest", () => {
  it("has its ISO set, then its shutter opened by the contact, and its file fetched over the cable", async () => {
    const origin = startOrigin({ rate: 1, startUtcMs: utcMs(Date.UTC(2027, 2, 24, 18)) });
    const clock = createClock(origin);
    const said: string[] = [];
    const fake = new FakeCamera({
      clock,
      picture: () => smallJpeg(),
      description: { isoLadder: [800, 1600], hasBulb: false },
    });
    const body: Camera = Object.assign(fake, {
      prepare: (exposure: Exposure) => {
        said.push(`ISO ${exposure.iso}`);
        return Promise.resolve({ ...exposure, iso: 1600 });
      },
      noteReleased: (frameIndex: number, what: string) => said.push(`${what} ${frameIndex}`),
    });
    const camera = openContactCamera({
      ...{ cameraId: "camera-1", origin, busySeconds: 0.05 },
      release: fileRelease(join(temporaryFolder(), "line")),
      side: { kind: "body", body },
      contact: {
        main: new URL("../../support/fileContactMain.ts", import.meta.url),
        rescue: () => Promise.resolve(),
      },
    });
    const diary = keepDiary((one) => camera.onEvent(one));
    camera.connect();
    const { description } = await diary.next("connected");
    expect(description).toMatchObject({ isoLadder: [800, 1600], hasBulb: true });
    expect(description.label).toContain("A made-up body");
    orderFrame(camera, 0, { exposureSeconds: 0.2, iso: 1250 });
    expect((await diary.next("shutterClosed")).happened.iso).toBe(1600);
    expect(said).toEqual(["ISO 1250", "opened 0", "closed 0"]);
    expect(fake.orders).toEqual([]);
    fake.emit({
      ...{ kind: "frameArrived", frameIndex: 0, atMs: clock.monotonicMs(), isOriginal: true },
      ...{ cameraName: "A.JPG", cameraHandle: 1, captureDate: "", jpeg: smallJpeg() },
    });
    expect(await diary.next("frameArrived")).toMatchObject({ frameIndex: 0 });
    await camera.close();
    expect(fake.isClosed).toBe(true);
  });

  it("is not connected when its cable is not, but releases a contact that a dead process left closed", async () => {
    const log = join(temporaryFolder(), "line");
    writeFileSync(log, "closed 0\n");
    const origin = startOrigin({ rate: 1, startUtcMs: utcMs(0) });
    const fake = new FakeCamera({ clock: createClock(origin), picture: () => smallJpeg() });
    fake.connect = () =>
      fake.emit({
        ...{ kind: "failed", code: "camera.unreachable", sentence: "Nobody answers." },
        ...{ frameIndex: null, gone: true },
      });
    const camera = openContactCamera({
      ...{ cameraId: "camera-1", origin, busySeconds: 1 },
      release: fileRelease(log),
      side: { kind: "body", body: fake },
      contact: {
        main: new URL("../../support/fileContactMain.ts", import.meta.url),
        rescue: () => Promise.resolve(),
      },
    });
    const diary = keepDiary((one) => camera.onEvent(one));
    camera.connect();
    expect(await diary.next("failed")).toMatchObject({ code: "camera.unreachable", gone: true });
    expect(diary.events).toHaveLength(1);
    expect(contactMovements(log).map(({ word }) => word)).toEqual(["closed", "open"]);
    await camera.close();
  });
});
