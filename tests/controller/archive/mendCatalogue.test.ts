import {
  closeSync,
  existsSync,
  openSync,
  readFileSync,
  readSync,
  statSync,
  writeSync,
} from "node:fs";
import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { Catalogue, CATALOGUE_FILE } from "../../../controller/archive/catalogue.ts";
import { keepFrameFile, frameFileName } from "../../../controller/archive/frameFiles.ts";
import { damageOf, mendCatalogue } from "../../../controller/archive/mendCatalogue.ts";
import { createNightFolder } from "../../../controller/archive/nightFolder.ts";
import { monotonicMs } from "../../../core/units.ts";
import { makeFrame, NIGHT_START_UTC_MS } from "../../support/frameRecords.ts";
import { pictureWithExif } from "../../support/pictureWithExif.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const EXPOSURE = { exposureSeconds: 8, iso: 1600, fNumber: 2 };
const FRAME_COUNT = 60;
const PAGE_BYTES = 4096;
const INFO = {
  ...{ name: "test", startUtcMs: NIGHT_START_UTC_MS, latitudeDeg: 69, longitudeDeg: 27 },
  ...{ placeName: "made up", isRehearsal: true },
};

async function aNight(): Promise<string> {
  const nightDir = createNightFolder(temporaryFolder(), INFO);
  const catalogue = Catalogue.create(nightDir, INFO);
  const bytes = await pictureWithExif(EXPOSURE);
  for (let frameIndex = 0; frameIndex < FRAME_COUNT; frameIndex += 1) {
    const kept = await keepFrameFile(nightDir, frameFileName(frameIndex), bytes);
    const file = { ...kept, cameraName: `IMG_${frameIndex}.JPG`, cameraHandle: frameIndex };
    catalogue.putFrame(makeFrame({ frameIndex, file }));
    catalogue.appendEvent({
      atMs: monotonicMs(frameIndex * 1000),
      utcMs: NIGHT_START_UTC_MS,
      kind: "frameKept",
      body: { cameraId: "made-up", frameIndex },
    });
  }
  catalogue.flush();
  catalogue.close();
  return nightDir;
}

/** What a broken disk, a cut write and a fallen bit leave of a page. */
const DAMAGES: readonly ((page: Buffer) => void)[] = [
  (page) => page.fill(0xa5),
  (page) => page.fill(0, PAGE_BYTES / 2),
  (page) => page.fill(0),
  (page) => {
    for (let at = 0; at < PAGE_BYTES; at += 61) page[at]! ^= 0x10;
  },
];

function damagePage(nightDir: string, page: number): void {
  const file = openSync(join(nightDir, CATALOGUE_FILE), "r+");
  const bytes = Buffer.alloc(PAGE_BYTES);
  readSync(file, bytes, 0, PAGE_BYTES, page * PAGE_BYTES);
  DAMAGES[page % DAMAGES.length]!(bytes);
  writeSync(file, bytes, 0, PAGE_BYTES, page * PAGE_BYTES);
  closeSync(file);
}

describe("a damaged catalogue", () => {
  it("is sound when nothing is wrong with it", async () => {
    expect(damageOf(await aNight())).toBeNull();
  });

  it("opens again with all 60 frames whichever single page was damaged, the damaged file set aside", async () => {
    const pageCount = statSync(join(await aNight(), CATALOGUE_FILE)).size / PAGE_BYTES;
    const some = [0, 1, 2, 5, 9, 14, 20, Math.floor(pageCount / 2), pageCount - 2, pageCount - 1];
    // `MEND_PAGES=all` damages every page of the file, one after the other.
    const isAll = process.env["MEND_PAGES"] === "all";
    const pages = isAll ? Array.from({ length: pageCount }, (_, page) => page) : some;
    let mended = 0;
    for (const page of pages.filter((one) => one < pageCount)) {
      const nightDir = await aNight();
      damagePage(nightDir, page);
      if (damageOf(nightDir) === null) continue; // a page that holds nothing
      const before = readFileSync(join(nightDir, CATALOGUE_FILE));
      const { asideFile } = await mendCatalogue(nightDir, INFO);
      mended += 1;
      expect(damageOf(nightDir), `page ${page}`).toBeNull();
      expect(readFileSync(join(nightDir, asideFile)).equals(before)).toBe(true);
      const catalogue = Catalogue.open(nightDir, { readOnly: true });
      const frames = catalogue.frames({ fromIndex: 0, count: 1000 });
      expect(
        frames.map(({ frameIndex }) => frameIndex),
        `page ${page}`,
      ).toEqual(Array.from({ length: FRAME_COUNT }, (_, index) => index));
      expect(frames.every(({ status }) => status === "kept")).toBe(true);
      expect(catalogue.getState("night")).toMatchObject({ name: "test" });
      catalogue.close();
    }
    expect(mended).toBeGreaterThan(4);
  }, 900_000);

  it("loses one row that makes no sense and makes it again from its file's own exposure", async () => {
    const nightDir = await aNight();
    const path = join(nightDir, CATALOGUE_FILE);
    const bytes = readFileSync(path);
    const at = bytes.indexOf(Buffer.from('{"frameIndex":7,'));
    expect(at).toBeGreaterThan(0);
    const file = openSync(path, "r+");
    writeSync(file, Buffer.from("["), 0, 1, at);
    closeSync(file);
    expect(damageOf(nightDir)).not.toBeNull();
    expect(await mendCatalogue(nightDir, INFO)).toMatchObject({ readCount: 59, remadeCount: 1 });
    const catalogue = Catalogue.open(nightDir, { readOnly: true });
    expect(catalogue.frame("made-up", 7)).toMatchObject({ status: "kept", happened: EXPOSURE });
    catalogue.close();
    expect(existsSync(join(nightDir, "catalogue.damaged-1.sqlite"))).toBe(true);
  });
});
