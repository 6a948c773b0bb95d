import { execFileSync } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import sharp from "sharp";
import { afterEach, beforeEach, describe, expect, it } from "vitest";
import { findLargestJpeg, type EmbeddedJpeg } from "../../core/metadata/rawPreview.ts";
import { hasTool } from "../support/outsideTool.ts";

// An independent tool (exiftool) lays out the directories; an independent library makes the pictures.
const isThere = hasTool("exiftool", "JPEGs inside TIFF structures are not checked from outside");

describe.runIf(isThere)("JPEGs that exiftool has put into a TIFF structure", () => {
  let folder: string;
  beforeEach(() => (folder = mkdtempSync(join(tmpdir(), "nattvakt-raw-"))));
  afterEach(() => rmSync(folder, { recursive: true, force: true }));

  const jpegOf = async (width: number, height: number): Promise<Buffer> =>
    await sharp({ create: { width, height, channels: 3, background: "#123" } })
      .jpeg()
      .toBuffer();

  it.each(["II", "MM"])("are found byte for byte, in byte order %s", async (order) => {
    const thumbFile = join(folder, "thumb.jpg");
    const picture = join(folder, "picture.jpg");
    const tagged = join(folder, "tagged.jpg");
    writeFileSync(thumbFile, await jpegOf(160, 120));
    writeFileSync(picture, await jpegOf(640, 480));
    execFileSync("exiftool", [
      ...["-q", `-ExifByteOrder=${order}`, "-IFD0:ImageDescription=a made-up sky"],
      ...[`-ThumbnailImage<=${thumbFile}`, "-o", tagged, picture],
    ]);
    // The Exif block of a JPEG is a TIFF structure of its own.
    const file = execFileSync("exiftool", ["-b", "-Exif", tagged]);
    expect(file.subarray(0, 2).toString()).toBe(order);
    const found = search(file);
    expect(found).toMatchObject({ widthPx: 160, heightPx: 120 });
    const bytes = file.subarray(found!.offset, found!.offset + found!.bytes);
    expect(Buffer.compare(bytes, readFileSync(thumbFile))).toBe(0);
  });
});

function search(file: Uint8Array): EmbeddedJpeg | null {
  const run = findLargestJpeg(file.length);
  let step = run.next();
  while (!step.done) {
    const { offset, bytes } = step.value;
    step = run.next(file.subarray(offset, offset + bytes));
  }
  return step.value;
}
