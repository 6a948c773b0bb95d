import { afterEach, describe, expect, it } from "vitest";
import type { Camera } from "../../../controller/cameras/camera.ts";
import { STANDARD_CONTROLS } from "../../../controller/cameras/standardControls.ts";
import { openPtpCamera, type PtpCameraOptions } from "../../../controller/shutter/ptpCamera.ts";
import { startOrigin } from "../../../controller/timing/clock.ts";
import { monotonicMs, utcMs } from "../../../core/units.ts";
import { keepDiary, orderFrame, type CameraDiary } from "../../support/cameraDiary.ts";
import { FakeIpCamera } from "../../support/fakeIpCamera.ts";
import {
  startTestCamera,
  type TestCamera,
  type TestCameraOptions,
} from "../../support/testCamera.ts";

/** Night seconds a real second: exposures of seconds take a fraction of one. */
const RATE = 20;

describe("a camera over PTP, in a thread of its own", () => {
  let device: TestCamera & { readonly port: number };
  let camera: Camera;
  let diary: CameraDiary;
  afterEach(async () => {
    await camera.close();
    await device.close();
  });

  const start = async (
    deviceOptions: TestCameraOptions = {},
    options: Partial<PtpCameraOptions> = {},
  ): Promise<void> => {
    device = await startTestCamera({ rate: RATE, busySeconds: 0.2, ...deviceOptions });
    camera = openPtpCamera({
      cameraId: "camera-1",
      target: { kind: "ip", host: "127.0.0.1", port: device.port },
      origin: device.clock.origin,
      ...options,
    });
    diary = keepDiary((listener) => camera.onEvent(listener));
  };
  const connected = async (...args: Parameters<typeof start>): Promise<void> => {
    await start(...args);
    camera.connect();
    await diary.next("connected");
  };

  it("describes itself: strings, ladders, bulb, manual program and focus, its clock two minutes fast", async () => {
    await start({ clockDriftSeconds: 120 });
    camera.connect();
    const { description } = await diary.next("connected");
    expect(description).toMatchObject({
      cameraId: "camera-1",
      label: "Nattvakt Virtual camera",
      serialNumber: "0000002a",
      profileId: "standard",
      hasBulb: true,
      program: "manual",
      focus: "manual",
    });
    expect(description.facts).toMatchObject({ focalLengthMm: 16 });
    expect(description.facts?.imageWidthPx).toBe(96);
    expect(description.isoLadder).toContain(1600);
    expect(description.fNumberLadder).toContain(2.8);
    expect(description.exposureLadderSeconds.length).toBeGreaterThan(20);
    for (const ladder of [description.isoLadder, description.exposureLadderSeconds]) {
      expect(ladder).toEqual([...ladder].sort((a, b) => a - b));
    }
    // The camera's text has tenths of a second; the rest is this machine's delay at 20 x.
    expect(Math.abs((description.clockOffsetMs ?? 0) - 120_000)).toBeLessThan(10_000);
  });

  it("says plainly that the program is not manual and the focus automatic", async () => {
    await start({ programMode: "aperturePriority", focusMode: "automatic", hasBulb: false });
    camera.connect();
    const { description } = await diary.next("connected");
    expect(description).toMatchObject({ program: "other", focus: "automatic", hasBulb: false });
  });

  it("takes a bulb frame of 4 s: opened, closed, ready, arrived, as the camera's own record says", async () => {
    await connected();
    orderFrame(camera, 7, { exposureSeconds: 4, iso: 1600 });
    const opened = await diary.next("shutterOpened");
    const closed = await diary.next("shutterClosed");
    const arrived = await diary.next("frameArrived");
    await diary.next("ready");
    expect([opened.frameIndex, closed.frameIndex, arrived.frameIndex]).toEqual([7, 7, 7]);
    expect(closed.atMs - opened.atMs).toBeGreaterThan(3_500);
    expect(closed.happened).toMatchObject({ iso: 1600, fNumber: 2.8 });
    const [record] = device.pictures.orders;
    expect(record?.exposure.iso).toBe(1600);
    expect(record?.exposure.exposureSeconds).toBeGreaterThan(3.5);
    expect(arrived.isOriginal).toBe(true);
    expect([...arrived.jpeg.subarray(0, 2)]).toEqual([0xff, 0xd8]);
    expect([...arrived.jpeg.subarray(-2)]).toEqual([0xff, 0xd9]);
    expect(arrived.cameraName).toMatch(/\.JPG$/);
  });

  it("leaves 0.9 s to the camera's timer and tells the ladder's value that happened", async () => {
    await connected();
    orderFrame(camera, 0, { exposureSeconds: 0.9 });
    const { happened } = await diary.next("shutterClosed");
    await diary.next("frameArrived");
    const [record] = device.pictures.orders;
    expect(happened.exposureSeconds).toBeCloseTo(record?.exposure.exposureSeconds ?? 0, 3);
    expect(Math.abs(Math.log2(happened.exposureSeconds / 0.9))).toBeLessThanOrEqual(1 / 6 + 0.05);
  });

  it("sets ISO and f-number only when they change, and tells what the camera made of ISO 1700", async () => {
    await connected();
    orderFrame(camera, 0, { exposureSeconds: 2.5, iso: 1700 });
    const first = await diary.next("shutterClosed");
    expect(first.happened.iso).toBe(1600);
    await diary.next("ready");
    orderFrame(camera, 1, { exposureSeconds: 2.5, iso: 3200 });
    expect((await diary.next("shutterClosed")).happened.iso).toBe(3200);
    await diary.next("frameArrived");
    await diary.next("frameArrived");
    expect(device.pictures.orders.map(({ exposure }) => exposure.iso)).toEqual([1600, 3200]);
  });

  it("closes the shutter early when asked to, and tells the shorter exposure", async () => {
    await connected();
    orderFrame(camera, 3, { exposureSeconds: 600 });
    await diary.next("shutterOpened");
    camera.closeShutter(2); // another frame: nothing happens
    expect(device.camera.capture.exposing).not.toBeNull();
    camera.closeShutter(3);
    const { happened } = await diary.next("shutterClosed");
    expect(happened.exposureSeconds).toBeLessThan(300);
    expect(device.camera.capture.exposing).toBeNull();
    expect((await diary.next("frameArrived")).frameIndex).toBe(3);
  });

  it("opens no earlier than ordered", async () => {
    await connected();
    const openAtMs = monotonicMs(device.clock.monotonicMs() + 2_000);
    camera.expose({
      frameIndex: 0,
      exposure: { exposureSeconds: 2.5, iso: 800, fNumber: 2.8 },
      openAtMs,
    });
    expect((await diary.next("shutterOpened")).atMs).toBeGreaterThanOrEqual(openAtMs);
    await diary.next("frameArrived");
    expect(device.pictures.orders[0]?.openedMs).toBeGreaterThanOrEqual(openAtMs);
  });

  it("reads battery and card", async () => {
    await connected({ batteryPercent: 80, cardBytes: 5_000_000_000 });
    camera.readStatus();
    const status = await diary.next("status");
    expect(status.batteryPercent).toBeGreaterThan(70);
    expect(status.batteryPercent).toBeLessThanOrEqual(80);
    expect(status.freeBytes).toBe(5_000_000_000);
    expect(status.freeFrames).toBeGreaterThan(1_000);
  });

  it("lists the card without its folders and fetches a whole file", async () => {
    await connected();
    orderFrame(camera, 0, { exposureSeconds: 2.5 });
    const { jpeg, cameraName } = await diary.next("frameArrived");
    const files = await camera.listCard();
    expect(files).toMatchObject([{ cameraName, bytes: jpeg.length }]);
    const bytes = await camera.fetchFile(files[0]?.cameraHandle ?? 0);
    expect(Buffer.compare(bytes, jpeg)).toBe(0);
    await expect(camera.fetchFile(0x7777)).rejects.toMatchObject({ code: "ptp.response" });
  });

  it("brings the thumbnail of a JPEG that is larger than moderate", async () => {
    await connected(
      { pictureSize: { widthPx: 480, heightPx: 320 } },
      { profile: { ...STANDARD_CONTROLS, wholeJpegBytesMax: 10_000 } },
    );
    orderFrame(camera, 0, { exposureSeconds: 2.5 });
    const { jpeg, isOriginal } = await diary.next("frameArrived");
    const [file] = await camera.listCard();
    expect(isOriginal).toBe(false);
    expect(jpeg.length).toBeLessThan(file?.bytes ?? 0);
    expect([...jpeg.subarray(0, 2)]).toEqual([0xff, 0xd8]);
  });

  it("takes ten frames in a row without losing one while the camera is busy at random", async () => {
    await connected({ faults: { busyProbability: 0.3 } });
    for (let index = 0; index < 10; index += 1) {
      orderFrame(camera, index, { exposureSeconds: 2.2 });
      await diary.next("ready");
    }
    const indices = new Set<number>();
    while (indices.size < 10) indices.add((await diary.next("frameArrived")).frameIndex);
    expect([...indices].sort((a, b) => a - b)).toEqual([0, 1, 2, 3, 4, 5, 6, 7, 8, 9]);
    expect(diary.kinds()).not.toContain("failed");
  });

  it("says in one sentence that no camera answers, and that connecting again is the way on", async () => {
    await start();
    const nobody = new FakeIpCamera();
    const port = await nobody.listen();
    await nobody.stop();
    await camera.close();
    camera = openPtpCamera({
      cameraId: "camera-1",
      target: { kind: "ip", host: "127.0.0.1", port },
      origin: startOrigin({ rate: 1, startUtcMs: utcMs(0) }),
    });
    diary = keepDiary((listener) => camera.onEvent(listener));
    camera.connect();
    expect(await diary.next("failed")).toEqual({
      kind: "failed",
      code: "camera.unreachable",
      sentence: `No camera answers at 127.0.0.1:${port}; check that it is switched on, in the same network and waiting for a computer.`,
      frameIndex: null,
      gone: true,
    });
  });

  it("refuses orders and wishes before it is connected, and after it is closed", async () => {
    await start();
    orderFrame(camera, 0);
    expect(await diary.next("failed")).toMatchObject({
      code: "camera.gone",
      frameIndex: 0,
      gone: true,
    });
    await expect(camera.listCard()).rejects.toMatchObject({ code: "camera.gone" });
    camera.connect();
    await diary.next("connected");
    await camera.close();
    await camera.close();
    await expect(camera.listCard()).rejects.toMatchObject({ code: "camera.gone" });
  });

  it("closes an open shutter before it ends", async () => {
    await connected();
    orderFrame(camera, 0, { exposureSeconds: 600 });
    await diary.next("shutterOpened");
    await camera.close();
    expect(device.camera.capture.exposing).toBeNull();
    expect(diary.kinds()).toContain("shutterClosed");
    await device.camera.settle();
    expect(device.pictures.orders[0]?.exposure.exposureSeconds).toBeLessThan(300);
  });
});
