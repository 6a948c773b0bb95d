import { MessageChannel, type Worker } from "node:worker_threads";
import { afterEach, describe, expect, it } from "vitest";
import { STANDARD_CONTROLS } from "../../controller/cameras/standardControls.ts";
import { openPtpCamera } from "../../controller/shutter/ptpCamera.ts";
import type { Camera } from "../../controller/cameras/camera.ts";
import type { FromShutter } from "../../controller/shutter/shutterMessages.ts";
import { ShutterFlag } from "../../controller/shutter/shutterFlag.ts";
import { startWorker } from "../../controller/workers/startWorker.ts";
import { monotonicMs } from "../../core/units.ts";
import { keepDiary, orderFrame, type CameraDiary } from "../support/cameraDiary.ts";
import { startProgram, type Program } from "../support/program.ts";
import { startTestCamera, type TestCamera, type TestCameraOptions } from "../support/testCamera.ts";
import type { Mishap } from "../support/photographer.ts";

/** Night seconds a real second. */
const RATE = 20;
/** A camera that never closes by itself within a test: the program that opened it must close it. */
const STUBBORN: TestCameraOptions = { rate: RATE, orphanSeconds: 3600, bulbLimitSeconds: 3600 };
/** 30 s real: far longer than any test takes. */
const LONG_SECONDS = 600;

describe("a shutter that was left open", () => {
  let device: TestCamera & { readonly port: number };
  afterEach(async () => await device.close());

  const photograph = (mishap: Mishap, exposureSeconds: number): Program =>
    startProgram("tests/support/photographer.ts", [
      String(device.port),
      JSON.stringify(device.clock.origin),
      mishap,
      String(exposureSeconds),
    ]);
  const recordedSeconds = async (): Promise<number> => {
    await device.camera.settle();
    return device.pictures.orders[0]?.exposure.exposureSeconds ?? NaN;
  };

  it.each(["throw", "exit"] as const)(
    "is closed before the process ends when its main thread dies (%s)",
    async (mishap) => {
      device = await startTestCamera(STUBBORN);
      const program = photograph(mishap, LONG_SECONDS);
      await program.ended;
      expect(device.camera.capture.exposing).toBeNull();
      expect(await recordedSeconds()).toBeLessThan(LONG_SECONDS / 2);
    },
  );

  it("is closed at its time while the main thread hangs for 60 night seconds", async () => {
    device = await startTestCamera(STUBBORN);
    const program = photograph("hang", 6);
    await program.ended;
    expect(await recordedSeconds()).toBeGreaterThan(5);
    expect(await recordedSeconds()).toBeLessThan(40);
  });

  it("is the camera's own to close when the whole process is killed, and the next host finds it closed", async () => {
    device = await startTestCamera({ rate: RATE, orphanSeconds: 1 });
    const program = photograph("none", LONG_SECONDS);
    await program.prints(/shutterOpened/);
    program.child.kill("SIGKILL");
    await program.ended;
    const camera = openPtpCamera({
      cameraId: "camera-1",
      target: { kind: "ip", host: "127.0.0.1", port: device.port },
      origin: device.clock.origin,
    });
    const diary = keepDiary((listener) => camera.onEvent(listener));
    const retry = connectUntilConnected(camera, diary);
    await retry;
    orderFrame(camera, 1, { exposureSeconds: 2.5 });
    expect((await diary.next("frameArrived")).frameIndex).toBe(1);
    await camera.close();
    // The frame of the killed program is on the card, to be reconciled.
    expect(device.pictures.orders).toHaveLength(2);
  });

  it("is closed at its time when the main thread releases the timing thread, which then ends", async () => {
    device = await startTestCamera(STUBBORN);
    const { port1, port2 } = new MessageChannel();
    const worker = startWorker(
      new URL("../../controller/shutter/shutterThread.ts", import.meta.url),
      {
        workerData: {
          cameraId: "camera-1",
          target: { kind: "ip", host: "127.0.0.1", port: device.port },
          origin: device.clock.origin,
          controls: STANDARD_CONTROLS,
          flag: ShutterFlag.createBuffer(),
          port: port2,
        },
        transferList: [port2],
      },
    );
    const exited = new Promise((resolve) => worker.once("exit", resolve));
    const diary = keepDiary((listener) =>
      port1.on("message", (message: FromShutter) => {
        if (message.kind === "event") listener(message.event);
      }),
    );
    port1.postMessage({ kind: "connect" });
    await diary.next("connected");
    const exposure = { exposureSeconds: 5, iso: 800, fNumber: 2.8 };
    const order = { frameIndex: 0, exposure, openAtMs: monotonicMs(0) };
    port1.postMessage({ kind: "expose", order });
    await diary.next("shutterOpened");
    port1.close();
    await exited;
    expect(device.camera.capture.exposing).toBeNull();
    expect(await recordedSeconds()).toBeGreaterThan(4);
    expect(await recordedSeconds()).toBeLessThan(LONG_SECONDS / 2);
  });
});

describe("a camera that comes to grief", () => {
  let device: TestCamera & { readonly port: number };
  let camera: Camera;
  let diary: CameraDiary;
  let workers: Worker[];
  const noteWorker = (worker: Worker): number => workers.push(worker);
  afterEach(async () => {
    process.removeListener("worker", noteWorker);
    await camera.close();
    await device.close();
  });

  const connected = async (options: TestCameraOptions): Promise<void> => {
    workers = [];
    process.on("worker", noteWorker);
    device = await startTestCamera({ rate: RATE, busySeconds: 0.2, ...options });
    camera = openPtpCamera({
      cameraId: "camera-1",
      target: { kind: "ip", host: "127.0.0.1", port: device.port },
      origin: device.clock.origin,
    });
    diary = keepDiary((listener) => camera.onEvent(listener));
    camera.connect();
    await diary.next("connected");
  };

  it("is reached again after its link broke with the shutter open; the frame's file is on the card", async () => {
    await connected({ orphanSeconds: 1, faults: { dropLinkAtFrame: 0 } });
    orderFrame(camera, 0, { exposureSeconds: LONG_SECONDS });
    expect(await diary.next("failed")).toMatchObject({ code: "camera.gone", gone: true });
    await connectUntilConnected(camera, diary);
    orderFrame(camera, 1, { exposureSeconds: 2.5 });
    const { cameraName } = await diary.next("frameArrived");
    const files = await camera.listCard();
    expect(files).toHaveLength(2);
    const lost = files.find((file) => file.cameraName !== cameraName);
    const jpeg = await camera.fetchFile(lost?.cameraHandle ?? 0);
    expect(jpeg).toHaveLength(lost?.bytes ?? -1);
  });

  it("still delivers the frame that no event announced", async () => {
    await connected({ faults: { loseObjectAddedAtFrame: 1 } });
    for (const index of [0, 1, 2]) {
      orderFrame(camera, index, { exposureSeconds: 2.5 });
      await diary.next("ready");
    }
    const arrived: number[] = [];
    for (let count = 0; count < 3; count += 1) {
      arrived.push((await diary.next("frameArrived")).frameIndex);
    }
    expect(arrived.sort((a, b) => a - b)).toEqual([0, 1, 2]);
  });

  it("tells a full card with its frame", async () => {
    await connected({ faults: { cardFullAtFrame: 0 } });
    orderFrame(camera, 0, { exposureSeconds: 2.5 });
    expect(await diary.next("failed")).toMatchObject({
      code: "camera.card_full",
      frameIndex: 0,
      gone: false,
    });
  });

  it("is looked after by a new thread at once when the timing thread is killed in an exposure", async () => {
    await connected({ orphanSeconds: 1 });
    orderFrame(camera, 0, { exposureSeconds: LONG_SECONDS });
    await diary.next("shutterOpened");
    await workers[0]?.terminate();
    expect(await diary.next("failed")).toMatchObject({ code: "camera.gone", gone: true });
    expect(workers).toHaveLength(2);
    await connectUntilConnected(camera, diary);
    orderFrame(camera, 1, { exposureSeconds: 2.5 });
    expect((await diary.next("frameArrived")).frameIndex).toBe(1);
    expect(device.camera.capture.exposing).toBeNull();
    expect(workers).toHaveLength(2);
  });
});

/** Connects as the night would: again after every failure. */
async function connectUntilConnected(camera: Camera, diary: CameraDiary): Promise<void> {
  const connected = diary.next("connected");
  const tries = setInterval(() => camera.connect(), 100);
  camera.connect();
  await connected;
  clearInterval(tries);
}
