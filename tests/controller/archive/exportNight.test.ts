import { readFileSync, readdirSync, rmSync, statSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it, onTestFinished } from "vitest";
import { Catalogue } from "../../../controller/archive/catalogue.ts";
import { exportNight } from "../../../controller/archive/exportNight.ts";
import { findNight } from "../../../controller/archive/findNight.ts";
import { keepFrameFile } from "../../../controller/archive/frameFiles.ts";
import { createNightFolder, DEMO_FOLDER } from "../../../controller/archive/nightFolder.ts";
import { verifyNight } from "../../../controller/archive/verifyNight.ts";
import { cutFrameSets } from "../../../core/frames/frameSets.ts";
import { NIGHT_START_UTC_MS, makeFrame } from "../../support/frameRecords.ts";
import { UNWATCHED } from "../../support/fileWork.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const NIGHT = {
  name: "Moved",
  startUtcMs: NIGHT_START_UTC_MS,
  latitudeDeg: 68.9,
  longitudeDeg: 27,
  placeName: "Hut Seven",
  isRehearsal: true,
};

/** Six frames, the last three at sentinel pace. */
async function sixFrames(): Promise<{ catalogue: Catalogue; dataDir: string }> {
  const dataDir = temporaryFolder();
  const catalogue = Catalogue.create(createNightFolder(dataDir, NIGHT), NIGHT);
  onTestFinished(() => {
    catalogue.close();
  });
  for (let frameIndex = 0; frameIndex < 6; frameIndex += 1) {
    const bytes = Uint8Array.of(frameIndex, 7, 7);
    const kept = await keepFrameFile(catalogue.nightDir, `00000${frameIndex}.jpg`, bytes);
    const file = { ...kept, cameraName: "", cameraHandle: null };
    const pace = frameIndex < 3 ? "full" : "sentinel";
    catalogue.putFrame(makeFrame({ frameIndex, file, pace }));
  }
  return { catalogue, dataDir };
}

describe("exporting a night", () => {
  it("copies every file and the catalogue, which opens there and verifies", async () => {
    const { catalogue } = await sixFrames();
    const target = temporaryFolder();
    const outcome = await exportNight(catalogue, target, null, UNWATCHED);
    expect(outcome).toMatchObject({ fileCount: 6, remarks: [] });
    const copy = Catalogue.open(outcome.targetDir);
    expect(await verifyNight(copy, UNWATCHED)).toEqual({ fileCount: 6, problems: [] });
    copy.close();
    expect(readFileSync(join(outcome.targetDir, "night.json"), "utf8")).toContain("Moved");
  });

  it("names an altered and a missing file by checksum, copies neither, and goes on where it was broken off", async () => {
    const { catalogue } = await sixFrames();
    const target = temporaryFolder();
    await exportNight(catalogue, target, null, UNWATCHED);
    const there = join(target, "2026-01-10_Moved/frames");
    const untouched = statSync(join(there, "000000.jpg")).mtimeMs;
    writeFileSync(join(there, "000001.jpg"), "half");
    rmSync(join(catalogue.nightDir, "frames/000004.jpg"));
    rmSync(join(there, "000004.jpg"));
    writeFileSync(join(catalogue.nightDir, "frames/000005.jpg"), "altered");
    rmSync(join(there, "000005.jpg"));
    const outcome = await exportNight(catalogue, target, null, UNWATCHED);
    expect(outcome.fileCount).toBe(4);
    expect(outcome.remarks[0]).toMatch(/000004\.jpg is missing/);
    expect(outcome.remarks[1]).toMatch(/000005\.jpg was altered \(SHA-256 [0-9a-f]{64}/);
    expect(statSync(join(there, "000000.jpg")).mtimeMs).toBe(untouched);
    expect([...readFileSync(join(there, "000001.jpg"))]).toEqual([1, 7, 7]);
    const { problems } = await verifyNight(catalogue, UNWATCHED);
    expect(problems).toHaveLength(2);
  });

  it("stops between two files when asked to, after 3 of 6, and copies the rest on the next run", async () => {
    const { catalogue } = await sixFrames();
    const target = temporaryFolder();
    const stop = new AbortController();
    const sizes: number[] = [];
    const onFile = (bytes: number): void => {
      sizes.push(bytes);
      if (sizes.length === 3) stop.abort(new Error("stopped"));
    };
    const stopped = exportNight(catalogue, target, null, { onFile, signal: stop.signal });
    await expect(stopped).rejects.toThrow("stopped");
    const there = join(target, "2026-01-10_Moved/frames");
    expect(readdirSync(there).sort()).toEqual(["000000.jpg", "000001.jpg", "000002.jpg"]);
    const untouched = statSync(join(there, "000002.jpg")).mtimeMs;
    const outcome = await exportNight(catalogue, target, null, UNWATCHED);
    expect(outcome).toMatchObject({ fileCount: 6, remarks: [] });
    expect(statSync(join(there, "000002.jpg")).mtimeMs).toBe(untouched);
    expect(sizes).toEqual([3, 3, 3]);
  });

  it("copies only the frame sets that are wanted", async () => {
    const { catalogue } = await sixFrames();
    const sets = cutFrameSets(catalogue.frames({ fromIndex: 0, count: 99 }));
    const outcome = await exportNight(catalogue, temporaryFolder(), [sets[1]!], UNWATCHED);
    expect(outcome.fileCount).toBe(3);
  });

  it("lets a copy of 3 of 6 frames verify by itself, names what it lost, and takes the other 3 later", async () => {
    const { catalogue } = await sixFrames();
    const sets = cutFrameSets(catalogue.frames({ fromIndex: 0, count: 99 }));
    const target = temporaryFolder();
    const { targetDir } = await exportNight(catalogue, target, [sets[1]!], UNWATCHED);
    const verified = async () => {
      const copy = Catalogue.open(targetDir, { readOnly: true });
      const outcome = await verifyNight(copy, UNWATCHED);
      const setIds = cutFrameSets(copy.frames({ fromIndex: 0, count: 99 })).map((set) => set.setId);
      copy.close();
      return { ...outcome, setIds };
    };
    expect(await verified()).toEqual({ fileCount: 3, problems: [], setIds: [sets[1]!.setId] });
    rmSync(join(targetDir, "frames/000004.jpg"));
    expect((await verified()).problems).toEqual(["frames/000004.jpg is missing."]);
    await exportNight(catalogue, target, [sets[0]!], UNWATCHED);
    expect((await verified()).problems).toEqual(["frames/000004.jpg is missing."]);
    await exportNight(catalogue, target, null, UNWATCHED);
    expect(await verified()).toMatchObject({ fileCount: 6, problems: [] });
  });

  it("says in one sentence that a target cannot be written", async () => {
    const { catalogue } = await sixFrames();
    const file = join(temporaryFolder(), "file");
    writeFileSync(file, "");
    await expect(exportNight(catalogue, file, null, UNWATCHED)).rejects.toMatchObject({
      code: "archive.read_only",
    });
  });
});

describe("finding a night", () => {
  it("takes a folder, a name, a date or the word last, and says what there is otherwise", async () => {
    const { catalogue, dataDir } = await sixFrames();
    for (const words of ["last", "2026-01-10", "moved", "2026-01-10_Moved", catalogue.nightDir]) {
      expect(findNight(dataDir, words)).toBe(catalogue.nightDir);
    }
    expect(() => findNight(dataDir, "yesterday")).toThrow(/there are 2026-01-10_Moved/);
    Catalogue.create(createNightFolder(dataDir, NIGHT), NIGHT).close();
    expect(() => findNight(dataDir, "2026-01-10")).toThrow(/may mean/);
  });

  it("means a night of the demo only where there is no such real one", async () => {
    const { catalogue, dataDir } = await sixFrames();
    const demo = Catalogue.create(
      createNightFolder(join(dataDir, DEMO_FOLDER), { ...NIGHT, name: "Hut Seven" }),
      NIGHT,
    );
    demo.close();
    expect(findNight(dataDir, "last")).toBe(catalogue.nightDir);
    expect(findNight(dataDir, "2026-01-10")).toBe(catalogue.nightDir);
    expect(findNight(dataDir, "hut-seven")).toBe(demo.nightDir);
    rmSync(join(dataDir, "nights"), { recursive: true });
    expect(findNight(dataDir, "last")).toBe(demo.nightDir);
  });
});
