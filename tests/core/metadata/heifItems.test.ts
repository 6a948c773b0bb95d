import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { searchBytes, stretchOf } from "../../../core/metadata/fileSearch.ts";
import { findLargestJpeg } from "../../../core/metadata/rawPreview.ts";
import { heifFile } from "../../bodies/heif.ts";
import { jpegOf } from "../../bodies/pictures.ts";

const SHOT = { seconds: 4, iso: 1600, fNumber: 2.8, takenAt: "2027:03:24 21:00:00" };
const LIGHT = { seconds: 4, iso: 1600, fNumber: 2.8, luminanceCdM2: 0.01 };

describe("a HEIF file", () => {
  it("gives the JPEG of 320 px that its Exif item holds, and asks for a few kilobytes alone", async () => {
    const thumbnail = await jpegOf(LIGHT, 320);
    const file = heifFile(SHOT, thumbnail, 150_000);
    let asked = 0;
    const search = findLargestJpeg(file.length);
    let step = search.next();
    while (step.done !== true) {
      asked += step.value.bytes;
      step = search.next(stretchOf(file, step.value));
    }
    const found = step.value;
    expect(found).toMatchObject({ widthPx: 320 });
    expect(Buffer.from(stretchOf(file, found!))).toEqual(thumbnail);
    expect(asked).toBeLessThan(20_000);
  });

  it("gives nothing, and never hangs, however its first 400 bytes are damaged", async () => {
    const file = heifFile(SHOT, await jpegOf(LIGHT, 160), 2_000);
    const damage = fc.array(fc.tuple(fc.nat(400), fc.nat(255)), { minLength: 1, maxLength: 6 });
    fc.assert(
      fc.property(damage, fc.nat(file.length), (bytes, length) => {
        const bad = Buffer.from(file.subarray(0, length));
        for (const [at, value] of bytes) if (at < bad.length) bad[at] = value;
        const found = searchBytes(bad, findLargestJpeg(bad.length));
        expect(found === null || found.offset < bad.length).toBe(true);
      }),
      { numRuns: 300 },
    );
  });
});
