import { existsSync, readFileSync, readdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it, onTestFinished } from "vitest";
import { Catalogue } from "../../../controller/archive/catalogue.ts";
import { keepFrameFile, sha256Of } from "../../../controller/archive/frameFiles.ts";
import { createNightFolder } from "../../../controller/archive/nightFolder.ts";
import { pruneFiles, pruneOutlook } from "../../../controller/archive/pruneFiles.ts";
import {
  markRunning,
  recoverNight,
  unfinishedNights,
  type CardReader,
} from "../../../controller/archive/recover.ts";
import { utcMs } from "../../../core/units.ts";
import { NIGHT_START_UTC_MS, makeFrame } from "../../support/frameRecords.ts";
import { UNWATCHED } from "../../support/fileWork.ts";
import { pictureWithExif } from "../../support/pictureWithExif.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const NIGHT = {
  name: "cut off",
  startUtcMs: NIGHT_START_UTC_MS,
  latitudeDeg: 68.9,
  longitudeDeg: 27,
  placeName: "Hut Seven",
  isRehearsal: true,
};

function startNight(): { catalogue: Catalogue; dataDir: string } {
  const dataDir = temporaryFolder();
  const catalogue = Catalogue.create(createNightFolder(dataDir, NIGHT), NIGHT);
  onTestFinished(() => {
    catalogue.close();
  });
  return { catalogue, dataDir };
}

/** A card with these files, taken 16 s apart from the night's start on. */
function cardOf(files: readonly Uint8Array[]): CardReader {
  return {
    listCard: () =>
      Promise.resolve(
        files.map((bytes, n) => ({
          cameraHandle: 100 + n,
          cameraName: `IMG_${n}.JPG`,
          bytes: bytes.byteLength,
          captureDate: new Date(NIGHT_START_UTC_MS + n * 16_000)
            .toISOString()
            .slice(0, 19)
            .replace(/[-:]/g, ""),
        })),
      ),
    fetchFile: (handle) => Promise.resolve(files[handle - 100]!),
  };
}

async function keep(catalogue: Catalogue, frameIndex: number, bytes: Uint8Array): Promise<void> {
  const name = `${String(frameIndex).padStart(6, "0")}.jpg`;
  const kept = await keepFrameFile(catalogue.nightDir, name, bytes);
  const file = { ...kept, cameraName: `IMG_${frameIndex}.JPG`, cameraHandle: 100 + frameIndex };
  catalogue.putFrame(makeFrame({ frameIndex, file }));
}

describe("recovering a night", () => {
  it("recognises a night whose watch was running, with what it was started with", () => {
    const { catalogue, dataDir } = startNight();
    expect(unfinishedNights(dataDir)).toEqual([]);
    markRunning(catalogue, { targetStops: -2 });
    expect(unfinishedNights(dataDir)).toEqual([
      { nightDir: catalogue.nightDir, order: { targetStops: -2 } },
    ]);
    markRunning(catalogue, null);
    expect(unfinishedNights(dataDir)).toEqual([]);
  });

  it("fetches a taken frame, sets its half aside, and adds a frame with the exposure of its Exif", async () => {
    const { catalogue } = startNight();
    const exposure = { exposureSeconds: 7.43, iso: 3200, fNumber: 2 };
    const files = [
      Uint8Array.of(1),
      await pictureWithExif({ ...exposure, iso: 800 }),
      await pictureWithExif(exposure),
    ];
    await keep(catalogue, 0, files[0]!);
    catalogue.putFrame(
      makeFrame({
        ...{ frameIndex: 1, status: "taken", file: null, reading: null, happened: null },
        ...{ openedUtcMs: utcMs(NIGHT_START_UTC_MS + 16_000), ordered: { ...exposure, iso: 800 } },
      }),
    );
    writeFileSync(join(catalogue.nightDir, "frames/000001.jpg.part"), "2");
    const options = { cameraId: "made-up", camera: cardOf(files), clockOffsetMs: 0 };
    const report = await recoverNight(catalogue, options);
    expect(report).toMatchObject({
      ...{ fetched: [1], adopted: [], added: [2], missing: [], problems: [] },
      setAside: ["frames/aside/000001.jpg.part"],
      unmetered: [1, 2],
    });
    expect(catalogue.frame("made-up", 1)).toMatchObject({
      ...{ status: "kept", happened: { ...exposure, iso: 800 } },
      file: { sha256: sha256Of(files[1]!), cameraName: "IMG_1.JPG" },
    });
    expect(catalogue.frame("made-up", 2)?.happened).toEqual(exposure);
    expect(sha256Of(readFileSync(join(catalogue.nightDir, "frames/000001.jpg")))).toBe(
      sha256Of(files[1]!),
    );
    const again = await recoverNight(catalogue, options);
    expect(again).toMatchObject({ fetched: [], added: [], adopted: [], setAside: [], missing: [] });
  });

  it("keeps a picture of another ISO as a stray, once, though the camera took it at the frame's time", async () => {
    const { catalogue } = startNight();
    const exposure = { exposureSeconds: 7.43, iso: 100, fNumber: 2 };
    const files = [Uint8Array.of(1), await pictureWithExif(exposure)];
    await keep(catalogue, 0, files[0]!);
    catalogue.putFrame(
      makeFrame({
        ...{ frameIndex: 1, status: "taken", file: null, reading: null, happened: null },
        openedUtcMs: utcMs(NIGHT_START_UTC_MS + 16_000),
      }),
    );
    const options = { cameraId: "made-up", camera: cardOf(files), clockOffsetMs: 0 };
    expect(await recoverNight(catalogue, options)).toMatchObject({ fetched: [], unmetered: [] });
    expect(catalogue.frame("made-up", 1)?.status).toBe("taken");
    expect(catalogue.strays()).toMatchObject([{ file: { sha256: sha256Of(files[1]!) } }]);
    await recoverNight(catalogue, options);
    expect(catalogue.strays()).toHaveLength(1);
  });

  it("puts the disk in order without the camera and says what it will fetch later", async () => {
    const { catalogue } = startNight();
    catalogue.putFrame(makeFrame({ frameIndex: 0, status: "taken", file: null }));
    writeFileSync(join(catalogue.nightDir, "frames/000000.jpg"), "whole");
    catalogue.putFrame(makeFrame({ frameIndex: 1, status: "taken", file: null }));
    const camera: CardReader = {
      listCard: () => Promise.reject(new Error("no answer")),
      fetchFile: () => Promise.reject(new Error("no answer")),
    };
    const report = await recoverNight(catalogue, { cameraId: "made-up", camera });
    expect(report).toMatchObject({ adopted: [0], missing: [], fetched: [] });
    expect(report.problems[0]).toMatch(/no answer.*fetched when it can/);
    expect(catalogue.frame("made-up", 1)?.status).toBe("taken");
  });

  it("does not fetch a preview again that was pruned when asked", async () => {
    const { catalogue } = startNight();
    const files = [Uint8Array.of(1), Uint8Array.of(2), Uint8Array.of(3)];
    for (const [n, bytes] of files.entries()) await keep(catalogue, n, bytes);
    catalogue.setPick("made-up", 1, { pick: "keep", rating: null });
    const dry = pruneOutlook(catalogue, "unpicked");
    expect(dry).toEqual({ frameIndices: [0, 2], bytes: 2 });
    expect(readdirSync(join(catalogue.nightDir, "frames"))).toHaveLength(3);
    await pruneFiles(catalogue, "unpicked", UNWATCHED);
    expect(readdirSync(join(catalogue.nightDir, "frames"))).toEqual(["000001.jpg"]);
    const options = { cameraId: "made-up", camera: cardOf(files), clockOffsetMs: 0 };
    const report = await recoverNight(catalogue, options);
    expect(report).toMatchObject({ fetched: [], added: [], missing: [] });
    expect(existsSync(join(catalogue.nightDir, "frames/000000.jpg"))).toBe(false);
    expect(catalogue.frame("made-up", 0)?.reading).not.toBeNull();
  });

  it("prunes by pace and leaves raw files alone", async () => {
    const { catalogue } = startNight();
    await keep(catalogue, 0, Uint8Array.of(1));
    const raw = await keepFrameFile(catalogue.nightDir, "000001.raw", Uint8Array.of(2));
    const file = { ...raw, cameraName: "IMG_1.RAW", cameraHandle: 5 };
    catalogue.putFrame(makeFrame({ frameIndex: 1, pace: "sentinel", file }));
    const pruned = await pruneFiles(catalogue, "sentinel", UNWATCHED);
    expect(pruned.frameIndices).toEqual([]);
  });
});
