import { existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { afterEach, describe, expect, it } from "vitest";
import { sha256Of } from "../../../../controller/archive/frameFiles.ts";
import type { Camera } from "../../../../controller/cameras/camera.ts";
import { STANDARD_CONTROLS } from "../../../../controller/cameras/standardControls.ts";
import { keepOriginals } from "../../../../controller/cameras/originals/originalsCamera.ts";
import { openPtpCamera } from "../../../../controller/shutter/ptpCamera.ts";
import { SILENT_LOG } from "../../../support/silentLog.ts";
import { keepDiary, orderFrame, type CameraDiary } from "../../../support/cameraDiary.ts";
import { temporaryFolder } from "../../../support/temporaryFolder.ts";
import {
  startTestCamera,
  type TestCamera,
  type TestCameraOptions,
} from "../../../support/testCamera.ts";

/** Files of some 100 kB are beyond what is fetched whole for a preview. */
const CONTROLS = { ...STANDARD_CONTROLS, wholeJpegBytesMax: 1_000 };
const PICTURE = { pictureSize: { widthPx: 480, heightPx: 320 } };

describe("originals", () => {
  let device: TestCamera & { readonly port: number; readonly server: { dropHost(): void } };
  const open: Camera[] = [];
  afterEach(async () => {
    for (const camera of open.splice(0)) {
      void camera.close();
      await camera.close();
    }
    await device.close();
  });

  const plugIn = async (options: TestCameraOptions = {}): Promise<void> => {
    device = await startTestCamera({ rate: 20, busySeconds: 0.2, ...PICTURE, ...options });
  };
  const connect = async (
    folder: string,
  ): Promise<{ readonly camera: Camera; readonly diary: CameraDiary }> => {
    const inner = openPtpCamera({
      cameraId: "camera-1",
      target: { kind: "ip", host: "127.0.0.1", port: device.port },
      origin: device.clock.origin,
      profile: CONTROLS,
    });
    const camera = keepOriginals(inner, { folder, log: SILENT_LOG });
    open.push(camera);
    const diary = keepDiary((listener) => camera.onEvent(listener));
    camera.connect();
    await diary.next("connected");
    return { camera, diary };
  };
  const onCard = async (camera: Camera): Promise<readonly Uint8Array[]> => {
    const files = await camera.listCard();
    return await Promise.all(files.map((file) => camera.fetchFile(file.cameraHandle)));
  };
  const readList = (folder: string): unknown =>
    JSON.parse(readFileSync(join(folder, "originals.json"), "utf8"));
  const kept = (folder: string): readonly string[] =>
    existsSync(folder) ? readdirSync(folder).filter((name) => name.endsWith(".jpg")) : [];

  it("of three frames that arrived as previews are there, byte for byte, when the camera is closed", async () => {
    await plugIn();
    const folder = join(temporaryFolder(), "originals");
    const { camera, diary } = await connect(folder);
    for (let index = 0; index < 3; index += 1) {
      orderFrame(camera, index, { exposureSeconds: 2.5 });
      expect((await diary.next("frameArrived")).isOriginal).toBe(false);
    }
    const files = await onCard(camera);
    await camera.close();
    expect(kept(folder)).toEqual(["000000.jpg", "000001.jpg", "000002.jpg"]);
    for (const [index, name] of kept(folder).entries()) {
      expect(Buffer.compare(readFileSync(join(folder, name)), files[index]!)).toBe(0);
    }
    expect(readList(folder)).toEqual({
      pending: [],
      kept: files.map((bytes, frameIndex) => ({
        ...{ frameIndex, cameraName: expect.any(String) as string },
        ...{ file: `00000${frameIndex}.jpg`, bytes: bytes.length, sha256: sha256Of(bytes) },
      })),
    });
  });

  it("go on after a new start where they stopped, even though handles have changed", async () => {
    await plugIn();
    const folder = join(temporaryFolder(), "originals");
    const first = await connect(folder);
    orderFrame(first.camera, 7, { exposureSeconds: 2.5 });
    const { cameraName, captureDate } = await first.diary.next("frameArrived");
    const [whole] = await onCard(first.camera);
    await first.camera.close();
    // As a program leaves it that was killed half way.
    const pending = [{ frameIndex: 7, cameraName, captureDate, attempts: 0 }];
    const other = join(temporaryFolder(), "originals");
    mkdirSync(other);
    writeFileSync(join(other, "originals.json"), JSON.stringify({ pending, kept: [] }));
    writeFileSync(join(other, "000007.jpg.part"), whole!.subarray(0, 5_000));
    const second = await connect(other);
    await second.camera.close();
    expect(Buffer.compare(readFileSync(join(other, "000007.jpg")), whole!)).toBe(0);
  });

  it("begun from another file's bytes are found out and fetched again", async () => {
    await plugIn();
    const folder = join(temporaryFolder(), "originals");
    const first = await connect(folder);
    orderFrame(first.camera, 0, { exposureSeconds: 2.5 });
    const { cameraName, captureDate } = await first.diary.next("frameArrived");
    const [whole] = await onCard(first.camera);
    await first.camera.close();
    const other = join(temporaryFolder(), "originals");
    mkdirSync(other);
    const pending = [{ frameIndex: 0, cameraName, captureDate, attempts: 0 }];
    writeFileSync(join(other, "originals.json"), JSON.stringify({ pending, kept: [] }));
    const wrong = Buffer.alloc(Math.floor(whole!.length * 0.7), 0x55);
    writeFileSync(join(other, "000000.jpg.part"), wrong);
    const second = await connect(other);
    await second.camera.close();
    expect(Buffer.compare(readFileSync(join(other, "000000.jpg")), whole!)).toBe(0);
  });

  it("leave the shutter alone: exposures are as asked while files are on their way", async () => {
    await plugIn({ pictureSize: { widthPx: 1_200, heightPx: 800 }, rate: 10 });
    const folder = join(temporaryFolder(), "originals");
    const { camera, diary } = await connect(folder);
    for (let index = 0; index < 4; index += 1) {
      orderFrame(camera, index, { exposureSeconds: 2.5 });
      await diary.next("ready");
    }
    for (let index = 0; index < 4; index += 1) await diary.next("frameArrived");
    await camera.close();
    expect(kept(folder)).toHaveLength(4);
    for (const { exposure } of device.pictures.orders) {
      expect(Math.abs(exposure.exposureSeconds - 2.5)).toBeLessThan(1);
    }
  });
});
