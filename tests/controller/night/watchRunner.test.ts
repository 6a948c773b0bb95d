import { existsSync, renameSync, rmSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import sharp from "sharp";
import { afterEach, beforeEach, describe, expect, it, vi } from "vitest";
import { Catalogue } from "../../../controller/archive/catalogue.ts";
import { createNightFolder } from "../../../controller/archive/nightFolder.ts";
import { SILENT_LOG } from "../../support/silentLog.ts";
import { FrameMeter } from "../../../controller/night/frameMeter.ts";
import { replayNight } from "../../../controller/night/replay.ts";
import { WatchRunner } from "../../../controller/night/watchRunner.ts";
import { stopsFromMidGrey, type Exposure } from "../../../core/exposure/exposure.ts";
import { encodeExif, withExif } from "../../../core/metadata/exif.ts";
import { NightError } from "../../../core/errors.ts";
import { opticsOf } from "../../../core/photometry/optics.ts";
import type { FrameRecord } from "../../../core/watch/frameRecord.ts";
import { DEFAULT_WATCH_SETTINGS, type WatchSettings } from "../../../core/watch/watchSettings.ts";
import { encodeSrgb } from "../../../core/photometry/srgb.ts";
import { utcMs } from "../../../core/units.ts";
import { IN_UTC } from "../../support/viewInUtc.ts";
import { FakeCamera } from "../../support/fakeCamera.ts";
import { createManualClock, type ManualClock } from "../../support/manualClock.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const FULL_FRAME = { focalLengthMm: 16, sensorWidthMm: 36, pixelPitchUm: 6 };
const SKY_CD_M2 = 0.002;

describe("the watch carried out", () => {
  let clock: ManualClock;
  let catalogue: Catalogue;
  let camera: FakeCamera;
  let runner: WatchRunner;
  let frames: FrameRecord[];
  let missing: string[];
  let isFinished: boolean;

  beforeEach(() => {
    clock = createManualClock();
    clock.isAtRest = () => runner.inHandCount === 0 && camera.developingCount === 0;
    const night = {
      name: "test",
      startUtcMs: utcMs(Date.UTC(2027, 0, 1)),
      latitudeDeg: 69,
      longitudeDeg: 27,
      placeName: "made up",
      isRehearsal: true,
    };
    catalogue = Catalogue.create(createNightFolder(temporaryFolder(), night), night);
    camera = new FakeCamera({ clock, picture: pictureOf });
    frames = [];
    missing = [];
    isFinished = false;
    runner = new WatchRunner({
      camera,
      catalogue,
      clock,
      log: SILENT_LOG,
      createMeter: () => new FrameMeter((picture) => opticsOf(FULL_FRAME, picture, null), null),
      onChange: () => {},
      onFrame: (frame) => frames.push(frame),
      onMissing: (frameIndex, why) => missing.push(`${frameIndex}: ${why}`),
      onFinished: () => (isFinished = true),
    });
  });

  afterEach(async () => {
    await runner.close();
    catalogue.close();
  });

  function start(over: Partial<WatchSettings> = {}): void {
    runner.start({
      settings: { ...DEFAULT_WATCH_SETTINGS, ...over },
      first: { exposureSeconds: 15, iso: 1600, fNumber: 2.8 },
      nextFrameIndex: catalogue.nextFrameIndex("camera-1"),
      history: [],
    });
  }

  async function finish(): Promise<void> {
    for (let step = 1; !isFinished && step < 400; step += 1) {
      await clock.advanceTo(clock.monotonicMs() + 1000);
    }
    expect(isFinished).toBe(true);
  }

  it("keeps, meters and writes down every frame of twelve, and ends by their number", async () => {
    start({ frameCountMax: 12 });
    await finish();
    const rows = catalogue.frames({ fromIndex: 0, count: 100 });
    expect(rows.map((row) => [row.frameIndex, row.status])).toEqual(
      Array.from({ length: 12 }, (_, index) => [index, "kept"]),
    );
    for (const row of rows) {
      expect(row.reasons.length).toBeGreaterThan(0);
      expect(row.happened?.exposureSeconds).toBeCloseTo(row.ordered.exposureSeconds, 6);
      expect(existsSync(join(catalogue.nightDir, row.file!.path))).toBe(true);
      expect(row.reading).not.toBeNull();
    }
    const last = rows.at(-1)!;
    expect(Math.abs(last.reading!.skyStops - last.targetStops)).toBeLessThan(0.1);
    expect(camera.isClosed).toBe(true);
  });

  it("shows no frame before its file is whole", async () => {
    start({ frameCountMax: 3 });
    await finish();
    expect(frames.length).toBeGreaterThanOrEqual(3);
    expect(frames.every((frame) => frame.status === "kept" && frame.file !== null)).toBe(true);
  });

  it("replays from the catalogue with no decision changed", async () => {
    start({ frameCountMax: 8 });
    await finish();
    const [report] = replayNight(catalogue);
    expect(report).toMatchObject({ cameraId: "camera-1", orderCount: 8, differences: [] });
  });

  it("goes on past a corrupt preview, keeping its file and saying that it was not metered", async () => {
    camera = new FakeCamera({
      clock,
      picture: (exposure, index) =>
        index === 2 ? new Uint8Array([0xff, 0xd8, 1, 2, 3]) : pictureOf(exposure),
    });
    runner = new WatchRunner({
      camera,
      catalogue,
      clock,
      log: SILENT_LOG,
      createMeter: () => new FrameMeter((picture) => opticsOf(FULL_FRAME, picture, null), null),
      onChange: () => {},
      onFrame: (frame) => frames.push(frame),
      onMissing: (frameIndex, why) => missing.push(`${frameIndex}: ${why}`),
      onFinished: () => (isFinished = true),
    });
    start({ frameCountMax: 5 });
    await finish();
    const rows = catalogue.frames({ fromIndex: 0, count: 10 });
    expect(rows.map((row) => row.status)).toEqual(Array(5).fill("kept"));
    expect(rows.map((row) => row.reading === null)).toEqual([false, false, true, false, false]);
  });

  it("reports a disk that takes no more files and goes on taking frames", async () => {
    start();
    await clock.advanceTo(40_000);
    rmSync(join(catalogue.nightDir, "frames"), { recursive: true });
    writeFileSync(join(catalogue.nightDir, "frames"), "in the way");
    const before = camera.orders.length;
    await clock.advanceTo(120_000);
    expect(camera.orders.length).toBeGreaterThan(before + 2);
    expect(runner.view(IN_UTC).guards.map((guard) => guard.guard)).toContain("storage");
    expect(runner.view(IN_UTC).allIsWell).toBe(false);
    expect(camera.card.size).toBeGreaterThanOrEqual(camera.orders.length - 1);
  });

  it("fetches from the card, once the disk takes files again, every frame that it had refused", async () => {
    start({ frameCountMax: 12 });
    await clock.advanceTo(40_000);
    const folder = join(catalogue.nightDir, "frames");
    renameSync(folder, `${folder}-away`);
    writeFileSync(folder, "in the way");
    await clock.advanceTo(90_000);
    const refusal = runner.view(IN_UTC).sentence;
    expect(refusal).toMatch(/The watch goes on; its frames stay on the card\.$/);
    rmSync(folder);
    renameSync(`${folder}-away`, folder);
    await finish();
    await vi.waitFor(() => {
      const rows = catalogue.frames({ fromIndex: 0, count: 20 });
      expect(rows.map(({ status }) => status)).toEqual(Array(12).fill("kept"));
      for (const { file } of rows)
        expect(existsSync(join(catalogue.nightDir, file!.path))).toBe(true);
    });
    expect(runner.view(IN_UTC).guards).toEqual([]);
  });

  it("writes rows that the catalogue refused with the next one that it takes", async () => {
    start({ frameCountMax: 6 });
    await clock.advanceTo(20_000);
    const rows = vi.spyOn(catalogue, "putFrame").mockImplementation((): never => {
      throw new NightError("archive.disk_full", "The disk takes no row.");
    });
    await clock.advanceTo(35_000);
    const events = vi.spyOn(catalogue, "appendEvent").mockImplementation(() => {
      if (events.mock.calls.length > 1000) return;
      throw new NightError("archive.disk_full", "The disk takes no event.");
    });
    await clock.advanceTo(50_000);
    // To report a refusal is an event, which is refused in its turn: reported once, not without end.
    expect(events.mock.calls.length).toBeLessThan(60);
    rows.mockRestore();
    events.mockRestore();
    await finish();
    const kept = catalogue.frames({ fromIndex: 0, count: 20 });
    expect(kept.map(({ frameIndex, status }) => [frameIndex, status])).toEqual(
      [0, 1, 2, 3, 4, 5].map((index) => [index, "kept"]),
    );
    expect(kept.every(({ happened, reasons }) => happened !== null && reasons.length > 0)).toBe(
      true,
    );
  });

  it("writes nothing to the catalogue while the camera calls back, and the row before the shutter", async () => {
    start({ frameCountMax: 6 });
    await clock.advanceTo(5_000);
    const events = vi.spyOn(catalogue, "appendEvent");
    const rows = vi.spyOn(catalogue, "putFrame");
    const status = { kind: "status", atMs: clock.monotonicMs(), batteryPercent: 50 } as const;
    for (let count = 0; count < 3000; count += 1) {
      camera.emit({ ...status, freeBytes: null, freeFrames: 1000 });
    }
    expect([events.mock.calls.length, rows.mock.calls.length]).toEqual([0, 0]);
    await clock.advanceTo(5_001);
    expect(events.mock.calls.length).toBeLessThanOrEqual(500);
    expect(runner.state.known.camera.batteryPercent).toBe(50);
    const expose = vi.spyOn(camera, "expose").mockImplementation(({ frameIndex }) => {
      expect(catalogue.frame("camera-1", frameIndex)?.status).toBe("ordered");
    });
    await clock.advanceTo(60_000);
    expect(expose).toHaveBeenCalled();
  });

  it("reconnects after a lost link and fetches from the card the frame that the loss swallowed", async () => {
    camera.fault = (order) => {
      if (order.frameIndex !== 2) return false;
      // The camera takes the frame on its own; only its card knows.
      camera.developingCount += 1;
      void pictureOf(order.exposure).then((jpeg) => {
        camera.developingCount -= 1;
        camera.keepOnCard(2, jpeg, order.openAtMs);
        camera.emit({
          kind: "shutterOpened",
          frameIndex: 2,
          atMs: order.openAtMs,
        });
        camera.emit({
          kind: "failed",
          code: "camera.gone",
          sentence: "The link to the camera is gone.",
          frameIndex: 2,
          gone: true,
        });
      });
      return true;
    };
    start({ frameCountMax: 6 });
    await finish();
    expect(missing).toEqual(["2: The link to the camera is gone."]);
    await vi.waitFor(() =>
      expect(
        catalogue.frames({ fromIndex: 0, count: 10 }).map((row) => [row.frameIndex, row.status]),
      ).toEqual([0, 1, 2, 3, 4, 5, 6].map((index) => [index, "kept"])),
    );
    expect(camera.connectCount).toBe(2);
    const gaps = runner.view(IN_UTC).gaps;
    expect(gaps).toHaveLength(1);
    expect(gaps[0]?.why).toMatch(/link/);
  });
});

describe("a camera that does not tell its ISO", () => {
  it("is metered and governed by the ISO 1600 of its files, four stops from the ISO 100 that was ordered", async () => {
    const clock = createManualClock();
    const night = {
      ...{ name: "test", startUtcMs: utcMs(Date.UTC(2027, 0, 1)), latitudeDeg: 69 },
      ...{ longitudeDeg: 27, placeName: "made up", isRehearsal: true },
    };
    const catalogue = Catalogue.create(createNightFolder(temporaryFolder(), night), night);
    const camera = new FakeCamera({
      clock,
      unreportedIso: 1600,
      picture: async (exposure) =>
        withExif(
          await pictureOf(exposure),
          encodeExif({ ...EXIF_FIELDS, ...exposure, takenUtcMs: clock.utcMs() }),
        ),
    });
    let isFinished = false;
    const runner = new WatchRunner({
      ...{ camera, catalogue, clock, log: SILENT_LOG },
      createMeter: () => new FrameMeter((picture) => opticsOf(FULL_FRAME, picture, null), null),
      ...{ onChange: () => {}, onFrame: () => {}, onMissing: () => {} },
      onFinished: () => (isFinished = true),
    });
    clock.isAtRest = () => runner.inHandCount === 0 && camera.developingCount === 0;
    const exposure = { ...DEFAULT_WATCH_SETTINGS.exposure, isoMin: 100, isoMax: 100 };
    runner.start({
      settings: { ...DEFAULT_WATCH_SETTINGS, exposure, probeCountMax: 0, frameCountMax: 6 },
      first: { exposureSeconds: 2, iso: 100, fNumber: 2.8 },
      ...{ nextFrameIndex: 0, history: [] },
    });
    for (let step = 1; !isFinished && step < 400; step += 1) {
      await clock.advanceTo(clock.monotonicMs() + 1000);
    }
    const rows = catalogue.frames({ fromIndex: 0, count: 10 });
    expect(rows.map(({ happened }) => happened?.iso)).toEqual(Array(6).fill(1600));
    const scene = rows.map(({ reading }) => Math.log2(reading!.skyLuminanceCdM2 / SKY_CD_M2));
    for (const stopsOff of scene) expect(Math.abs(stopsOff)).toBeLessThan(0.2);
    expect(rows.at(-1)!.ordered.iso).toBe(1600);
    const last = rows.at(-1)!;
    expect(Math.abs(last.reading!.skyStops - last.targetStops)).toBeLessThan(0.2);
    const said = runner.view(IN_UTC).guards.map(({ sentence }) => sentence);
    expect(said.join()).toContain("its files say ISO 1600");
    await runner.close();
    catalogue.close();
  });
});

const EXIF_FIELDS = {
  ...{ widthPx: 240, heightPx: 160, focalLengthMm: null, isManual: true },
  ...{ sensitivityType: 2 as const, utcOffsetMinutes: 0, exposureBiasStops: 0 },
  ...{ brightnessApex: null, description: null, userComment: null, maker: null, model: null },
  ...{ software: null, bodySerialNumber: null, place: null, thumbnail: null },
};

/** A flat sky through the sRGB curve, mid-grey at code 118. */
async function pictureOf(exposure: Exposure): Promise<Uint8Array> {
  const linear = Math.min(1, 0.18116 * 2 ** stopsFromMidGrey(SKY_CD_M2, exposure));
  const code = Math.round(255 * encodeSrgb(linear));
  return await sharp({
    create: { width: 240, height: 160, channels: 3, background: { r: code, g: code, b: code } },
  })
    .jpeg({ quality: 95 })
    .toBuffer();
}
