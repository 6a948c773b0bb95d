import { appendFileSync, copyFileSync, renameSync, rmSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import sharp from "sharp";
import { beforeAll, describe, expect, it, onTestFinished } from "vitest";
import type { CameraEvent } from "../../../../controller/cameras/camera.ts";
import { FolderFrames } from "../../../../controller/cameras/folder/frames.ts";
import { createClock, startOrigin } from "../../../../controller/timing/clock.ts";
import { utcMs } from "../../../../core/units.ts";
import { keepDiary } from "../../../support/cameraDiary.ts";
import { tiffDirectory, tiffFile } from "../../../support/tiff.ts";
import { temporaryFolder } from "../../../support/temporaryFolder.ts";

const START_UTC_MS = Date.UTC(2027, 2, 24, 18);

let jpeg: Uint8Array;

/** A small JPEG with Exif: taken so many seconds after the start by a clock 90 s ahead of ours. */
async function exifJpeg(seconds: number, exposureSeconds: number): Promise<Uint8Array> {
  const date = new Date(START_UTC_MS + 90_000 + seconds * 1000).toISOString();
  const text = `${date.slice(0, 10).replace(/-/g, ":")} ${date.slice(11, 19)}`;
  return await sharp({ create: { width: 16, height: 16, channels: 3, background: "#123" } })
    .jpeg()
    .withExif({ IFD2: { DateTimeOriginal: text, ExposureTime: `${exposureSeconds}/1` } })
    .toBuffer();
}

function open(options: { fileMsMax?: number } = {}) {
  const folder = temporaryFolder();
  const clock = createClock(startOrigin({ rate: 1, startUtcMs: utcMs(START_UTC_MS) }));
  let hear: (event: CameraEvent) => void = () => undefined;
  const diary = keepDiary((listener) => (hear = listener));
  // An hour between its own looks: the test looks.
  const tell = (event: CameraEvent): void => hear(event);
  const frames = new FolderFrames({ folder, clock, tell, pollMs: 3_600_000, ...options });
  onTestFinished(() => frames.close());
  const await_ = (frameIndex: number, openedSeconds: number, exposureSeconds = 5): void =>
    frames.await({
      frameIndex,
      openedUtcMs: START_UTC_MS + openedSeconds * 1000,
      exposureSeconds,
    });
  const arrivals = (): readonly (readonly [number, string])[] =>
    diary.events.flatMap((event) =>
      event.kind === "frameArrived" ? [[event.frameIndex, event.cameraName] as const] : [],
    );
  const look = async (times = 4): Promise<void> => {
    for (let n = 0; n < times; n += 1) await frames.look();
  };
  return { folder, frames, diary, await: await_, arrivals, look };
}

describe("frames that arrive in a folder", () => {
  beforeAll(async () => {
    jpeg = await sharp({ create: { width: 16, height: 16, channels: 3, background: "#123" } })
      .jpeg()
      .toBuffer();
  });

  it("are handed on in the order of their frames, with the whole JPEG", async () => {
    const made = open();
    await made.frames.start();
    made.await(0, 0);
    made.await(1, 10);
    writeFileSync(join(made.folder, "A1.JPG"), jpeg);
    await made.look();
    writeFileSync(join(made.folder, "A2.JPG"), jpeg);
    await made.look();
    expect(made.arrivals()).toEqual([
      [0, "A1.JPG"],
      [1, "A2.JPG"],
    ]);
    const first = await made.diary.next("frameArrived");
    expect(first.isOriginal).toBe(true);
    expect(Buffer.from(first.jpeg).equals(jpeg)).toBe(true);
  });

  it("are not those that were there before", async () => {
    const made = open();
    writeFileSync(join(made.folder, "OLD.JPG"), jpeg);
    await made.frames.start();
    made.await(0, 0);
    await made.look();
    expect(made.arrivals()).toEqual([]);
  });

  it("are waited for while only half of a file is written", async () => {
    const made = open();
    await made.frames.start();
    made.await(0, 0);
    const path = join(made.folder, "A1.JPG");
    writeFileSync(path, jpeg.subarray(0, jpeg.length - 40));
    await made.look(8);
    expect(made.arrivals()).toEqual([]);
    appendFileSync(path, jpeg.subarray(jpeg.length - 40));
    await made.look();
    expect(made.arrivals()).toEqual([[0, "A1.JPG"]]);
  });

  it("may come under another name first, as copying programs write them", async () => {
    const made = open();
    await made.frames.start();
    made.await(0, 0);
    writeFileSync(join(made.folder, "A1.JPG.part"), jpeg.subarray(0, 30));
    await made.look(2);
    writeFileSync(join(made.folder, "A1.JPG.part"), jpeg);
    renameSync(join(made.folder, "A1.JPG.part"), join(made.folder, "A1.JPG"));
    await made.look();
    expect(made.arrivals()).toEqual([[0, "A1.JPG"]]);
  });

  it("that are raw give the largest JPEG inside them, once the raw file is whole", async () => {
    const made = open();
    await made.frames.start();
    made.await(0, 0);
    // One directory: compression 6 (JPEG), strip offset and byte count.
    const directory = tiffDirectory(
      [
        [0x0103, 3, 1, 6],
        [0x0111, 4, 1, 256],
        [0x0117, 4, 1, jpeg.length],
      ],
      0,
      true,
    );
    const raw = tiffFile(
      [
        [8, directory],
        [256, jpeg],
        [256 + jpeg.length, new Uint8Array(5000)],
      ],
      { firstDirectory: 8, isLittleEndian: true },
    );
    const path = join(made.folder, "A1.RAW");
    writeFileSync(path, raw.subarray(0, 300));
    await made.look(5);
    expect(made.arrivals()).toEqual([]);
    writeFileSync(path, raw);
    await made.look();
    const frame = await made.diary.next("frameArrived");
    expect(frame.isOriginal).toBe(false);
    expect(Buffer.from(frame.jpeg).equals(jpeg)).toBe(true);
  });

  it("as raw and JPEG of one name are one frame", async () => {
    const made = open();
    await made.frames.start();
    made.await(0, 0);
    made.await(1, 10);
    writeFileSync(join(made.folder, "A1.JPG"), jpeg);
    await made.look();
    copyFileSync(join(made.folder, "A1.JPG"), join(made.folder, "A1.RAW"));
    await made.look();
    expect(made.arrivals()).toEqual([[0, "A1.JPG"]]);
  });

  it("find their frame by time when one was never taken", async () => {
    const made = open();
    await made.frames.start();
    made.await(0, 0);
    writeFileSync(join(made.folder, "A1.JPG"), await exifJpeg(0, 5));
    await made.look();
    expect(made.frames.clockOffsetMs).toBe(90_000);
    made.await(1, 10);
    made.await(2, 20);
    writeFileSync(join(made.folder, "A2.JPG"), await exifJpeg(20, 5));
    await made.look();
    expect(made.arrivals()).toEqual([
      [0, "A1.JPG"],
      [2, "A2.JPG"],
    ]);
  });

  it("find their frame by their exposure before the camera's clock is known", async () => {
    const made = open();
    await made.frames.start();
    made.await(0, 0, 15);
    made.await(1, 20, 4);
    writeFileSync(join(made.folder, "A1.JPG"), await exifJpeg(20, 4));
    await made.look();
    expect(made.arrivals()).toEqual([[1, "A1.JPG"]]);
  });

  it("are given up when none has come in time", async () => {
    const made = open({ fileMsMax: 0 });
    await made.frames.start();
    made.await(3, 0);
    await made.look(1);
    expect(await made.diary.next("frameMissing")).toMatchObject({ frameIndex: 3 });
  });

  it("can be listed and read again, half-written ones left out", async () => {
    const made = open();
    writeFileSync(join(made.folder, "A1.JPG"), await exifJpeg(0, 5));
    writeFileSync(join(made.folder, "A2.JPG"), jpeg.subarray(0, 100));
    const [file, ...others] = await made.frames.listCard();
    expect(others).toEqual([]);
    expect(file).toMatchObject({ cameraName: "A1.JPG", captureDate: "20270324T180130" });
    expect((await made.frames.fetchFile(file!.cameraHandle)).length).toBe(file!.bytes);
  });

  it("cannot come out of a folder that is not there, and that is said", async () => {
    const made = open();
    rmSync(made.folder, { recursive: true });
    await expect(made.frames.start()).rejects.toMatchObject({ code: "settings.invalid" });
  });
});
