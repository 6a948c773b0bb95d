import { existsSync, mkdirSync, readFileSync, readdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import sharp from "sharp";
import { describe, expect, it } from "vitest";
import { Catalogue } from "../../../controller/archive/catalogue.ts";
import { exportNight } from "../../../controller/archive/exportNight.ts";
import { keepFrameFile, sha256Of } from "../../../controller/archive/frameFiles.ts";
import { verifyNight } from "../../../controller/archive/verifyNight.ts";
import { deliverInTest } from "../../support/deliverInTest.ts";
import { UNWATCHED } from "../../support/fileWork.ts";
import { makeRaw } from "../../support/madeUpRaw.ts";
import { renderNight } from "../../support/renderedNight.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const COUNT = 6;

/** A night of previews of 120 × 80 px whose originals lie beside, made of each preview. */
async function nightWithOriginals(
  ending: string,
  originalOf: (preview: Uint8Array, n: number) => Uint8Array | Promise<Uint8Array>,
): Promise<{ nightDir: string; folder: string; checksums: () => readonly string[] }> {
  const dataDir = temporaryFolder();
  const { nightDir } = await renderNight({ dataDir, count: COUNT, widthPx: 120, heightPx: 80 });
  const folder = join(nightDir, "originals/made-up");
  mkdirSync(folder, { recursive: true });
  const kept = [];
  for (let frameIndex = 0; frameIndex < COUNT; frameIndex += 1) {
    const name = `00000${frameIndex}`;
    const preview = readFileSync(join(nightDir, "frames", `${name}.jpg`));
    const bytes = await originalOf(preview, frameIndex);
    writeFileSync(join(folder, `${name}.${ending}`), bytes);
    const listed = { frameIndex, cameraName: `MADE${frameIndex}.${ending.toUpperCase()}` };
    const file = { file: `${name}.${ending}`, bytes: bytes.byteLength, sha256: sha256Of(bytes) };
    kept.push({ ...listed, ...file });
  }
  writeFileSync(join(folder, "originals.json"), JSON.stringify({ pending: [], kept }));
  const checksums = (): readonly string[] =>
    readdirSync(folder)
      .filter((name) => name.endsWith(`.${ending}`))
      .map((name) => sha256Of(readFileSync(join(folder, name))));
  return { nightDir, folder, checksums };
}

function larger(preview: Uint8Array): Promise<Uint8Array> {
  return sharp(preview).resize({ width: 240 }).jpeg().toBuffer();
}

describe("a night with raw originals beside its previews", () => {
  it("gets XMP beside every raw file, which itself stays as it was to the byte, and takes both along to another disk", async () => {
    const { nightDir, folder, checksums } = await nightWithOriginals("dng", makeRaw);
    const before = checksums();
    const result = await deliverInTest(nightDir, join(nightDir, "deliver"), { videos: ["h264"] });
    expect(result.files.map(({ kind, frameCount }) => `${kind} ${frameCount}`)).toEqual([
      ...["sequence 6", "video 6"],
    ]);
    expect(checksums()).toEqual(before);
    expect(existsSync(join(nightDir, "frames/000003.xmp"))).toBe(false);
    for (let n = 0; n < COUNT; n += 1) {
      const xmp = readFileSync(join(folder, `00000${n}.xmp`), "utf8");
      expect(xmp).toContain("<exif:ExposureTime>8/1<");
      expect(xmp).toContain("<exif:ExposureBiasValue>");
    }
    const catalogue = Catalogue.open(nightDir);
    const copied = await exportNight(catalogue, temporaryFolder(), null, UNWATCHED);
    catalogue.close();
    expect(copied).toMatchObject({ fileCount: 2 * COUNT, remarks: [] });
    const copy = Catalogue.open(copied.targetDir, { readOnly: true });
    expect(await verifyNight(copy, UNWATCHED)).toEqual({ fileCount: 2 * COUNT, problems: [] });
    copy.close();
    const there = join(copied.targetDir, "originals/made-up");
    expect(readdirSync(there).sort()).toEqual(readdirSync(folder).sort());
  });

  it("is named by checksum when one of them was altered", async () => {
    const { nightDir, folder } = await nightWithOriginals("dng", makeRaw);
    writeFileSync(join(folder, "000004.dng"), "altered");
    const catalogue = Catalogue.open(nightDir, { readOnly: true });
    const { problems } = await verifyNight(catalogue, UNWATCHED);
    catalogue.close();
    expect(problems).toHaveLength(1);
    expect(problems[0]).toMatch(
      /^originals\/made-up\/000004\.dng was altered: its SHA-256 is [0-9a-f]{64}/,
    );
  });
});

describe("a night whose frames are raw files", () => {
  it("is played from the picture inside each of them, with XMP beside it", async () => {
    const dataDir = temporaryFolder();
    const { nightDir } = await renderNight({ dataDir, count: COUNT, widthPx: 120, heightPx: 80 });
    const catalogue = Catalogue.open(nightDir);
    const sums: string[] = [];
    for (const frame of catalogue.frames({ fromIndex: 0, count: COUNT })) {
      const raw = makeRaw(readFileSync(join(nightDir, frame.file!.path)), frame.frameIndex);
      const kept = await keepFrameFile(nightDir, `00000${frame.frameIndex}.dng`, raw);
      catalogue.putFrame({ ...frame, file: { ...frame.file!, ...kept } });
      sums.push(kept.sha256);
    }
    catalogue.close();
    const outDir = join(nightDir, "deliver");
    const result = await deliverInTest(nightDir, outDir, { keogram: true, contactSheet: true });
    expect(result.remarks).toEqual([]);
    expect(result.files[0]).toMatchObject({ kind: "sequence", frameCount: COUNT });
    const picture = await sharp(join(outDir, "sequence-made-up-000000/000003.jpg")).metadata();
    expect(picture).toMatchObject({ width: 120, height: 80 });
    for (let n = 0; n < COUNT; n += 1) {
      expect(existsSync(join(nightDir, `frames/00000${n}.xmp`))).toBe(true);
      expect(sha256Of(readFileSync(join(nightDir, `frames/00000${n}.dng`)))).toBe(sums[n]);
    }
  });
});

describe("a night with JPEG originals beside its previews", () => {
  it("is delivered at the originals' size when it has all of them, else at the previews'", async () => {
    const { nightDir, folder } = await nightWithOriginals("jpg", larger);
    const widthOf = async (outDir: string): Promise<number> =>
      (await sharp(join(outDir, "sequence-made-up-000000/000001.jpg")).metadata()).width;
    const all = join(temporaryFolder(), "all");
    await deliverInTest(nightDir, all);
    expect(await widthOf(all)).toBe(240);
    writeFileSync(
      join(folder, "originals.json"),
      readFileSync(join(folder, "originals.json"), "utf8").replace(
        '"frameIndex":4',
        '"frameIndex":99',
      ),
    );
    const some = join(temporaryFolder(), "some");
    await deliverInTest(nightDir, some);
    expect(await widthOf(some)).toBe(120);
  });
});
