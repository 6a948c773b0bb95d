// Files with the structure of TIFF/EP and DNG as an independent tool writes them: directories,
// offsets and lengths are exiftool's, the pictures inside are sharp's.
import { spawnSync } from "node:child_process";
import { readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import sharp from "sharp";
import { expect, it } from "vitest";
import { findLargestJpeg } from "../../core/metadata/rawPreview.ts";
import { hasTool } from "../support/outsideTool.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";

const isThere = hasTool("exiftool", "raw files of an independent tool are not read");

async function jpeg(width: number, height: number): Promise<Buffer> {
  const noise = { type: "gaussian", mean: 120, sigma: 30 } as const;
  const image = sharp({ create: { width, height, channels: 3, background: "black", noise } });
  return await image.jpeg().toBuffer();
}

/** Reads by stretches only, as from a camera. */
function search(file: Uint8Array): Uint8Array | null {
  const run = findLargestJpeg(file.length);
  let step = run.next();
  let asked = 0;
  while (!step.done) {
    const { offset, bytes } = step.value;
    asked += bytes;
    step = run.next(file.subarray(offset, offset + bytes));
  }
  expect(asked).toBeLessThan(file.length);
  return step.value === null
    ? null
    : file.subarray(step.value.offset, step.value.offset + step.value.bytes);
}

it.runIf(isThere).each(["II", "MM"])(
  "finds the preview in a DNG structure that exiftool wrote in byte order %s",
  async (byteOrder) => {
    const folder = temporaryFolder();
    const preview = await jpeg(640, 427);
    writeFileSync(join(folder, "preview.jpg"), preview);
    const made = join(folder, "made.exif");
    const { status, stderr } = spawnSync(
      "exiftool",
      [
        ...["-q", `-ExifByteOrder=${byteOrder}`, "-DNGVersion=1.4.0.0", "-Make=none"],
        ...[`-ThumbnailImage<=${join(folder, "preview.jpg")}`, "-o", made],
      ],
      { encoding: "utf8" },
    );
    expect([status, stderr]).toEqual([0, ""]);
    const file = readFileSync(made);
    expect(file.subarray(0, 2).toString()).toBe(byteOrder);
    // Sensor data behind the directories, as a raw file has.
    const raw = Buffer.concat([file, Buffer.alloc(2_000_000, 0x3c)]);
    const found = search(raw);
    expect(found && Buffer.compare(found, preview)).toBe(0);
    const reported = spawnSync("exiftool", ["-b", "-ThumbnailImage", made]).stdout;
    expect(found && Buffer.compare(found, reported)).toBe(0);
  },
);

it("finds no preview in a TIFF that holds none", async () => {
  const plain = await sharp({
    create: { width: 300, height: 200, channels: 3, background: "navy" },
  })
    .tiff({ compression: "none" })
    .toBuffer();
  expect(search(plain)).toBeNull();
});
