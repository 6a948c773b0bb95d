import fc from "../../support/properties.ts";
import { describe, expect, it } from "vitest";
import { findLargestJpeg, type EmbeddedJpeg } from "../../../core/metadata/rawPreview.ts";
import { jpegSkeleton, tiffDirectory, tiffFile, type TiffEntry } from "../../support/tiff.ts";

// Tags of TIFF 6.0 and TIFF/EP, from memory of both.
const COMPRESSION = 0x0103;
const PHOTOMETRIC = 0x0106;
const STRIP_OFFSETS = 0x0111;
const STRIP_BYTES = 0x0117;
const SUB_DIRECTORIES = 0x014a;
const JPEG_OFFSET = 0x0201;
const JPEG_BYTES = 0x0202;
const OPAQUE_JPEG = 0x002e;
const COLOUR_FILTER_ARRAY = 32803;

/** Answers the search from a file in memory, and notes what it asked for. */
function search(file: Uint8Array): { found: EmbeddedJpeg | null; asked: number; reads: number } {
  const run = findLargestJpeg(file.length);
  let asked = 0;
  let reads = 0;
  let step = run.next();
  while (!step.done) {
    const { offset, bytes } = step.value;
    expect(offset).toBeGreaterThanOrEqual(0);
    expect(offset + bytes).toBeLessThanOrEqual(file.length);
    asked += bytes;
    reads += 1;
    step = run.next(file.subarray(offset, offset + bytes));
  }
  return { found: step.value, asked, reads };
}

const SMALL = jpegSkeleton({ widthPx: 160, heightPx: 120, bytes: 500 });
const LARGE = jpegSkeleton({ widthPx: 6000, heightPx: 4000, bytes: 3_000, applicationBytes: 900 });
const LOSSLESS = jpegSkeleton({ widthPx: 9000, heightPx: 6000, bytes: 9_000, marker: 0xc3 });

describe.each([
  ["little endian", true],
  ["big endian", false],
] as const)("the largest JPEG in a %s raw file", (_, isLittleEndian) => {
  const dir = (entries: readonly TiffEntry[], next = 0): Uint8Array =>
    tiffDirectory(entries, next, isLittleEndian);
  const file = (...parts: readonly (readonly [number, Uint8Array])[]): Uint8Array =>
    tiffFile(parts, { firstDirectory: 8, isLittleEndian });

  it("is found in the chain of directories: a thumbnail first, the full preview second", () => {
    const raw = file(
      [
        8,
        dir(
          [
            [JPEG_OFFSET, 4, 1, 1_000],
            [JPEG_BYTES, 4, 1, 500],
          ],
          200,
        ),
      ],
      [
        200,
        dir([
          [JPEG_OFFSET, 4, 1, 2_000],
          [JPEG_BYTES, 4, 1, 3_000],
        ]),
      ],
      [1_000, SMALL],
      [2_000, LARGE],
    );
    expect(search(raw).found).toEqual({
      offset: 2_000,
      bytes: 3_000,
      widthPx: 6000,
      heightPx: 4000,
    });
  });

  it("is found in a SubIFD as one strip, and the sensor's lossless JPEG is passed over", () => {
    const directories = new Uint8Array(8);
    new DataView(directories.buffer).setUint32(0, 300, isLittleEndian);
    new DataView(directories.buffer).setUint32(4, 400, isLittleEndian);
    const raw = file(
      [8, dir([[SUB_DIRECTORIES, 4, 2, 200]])],
      [200, directories],
      [
        300,
        dir([
          [COMPRESSION, 3, 1, 7],
          [PHOTOMETRIC, 3, 1, COLOUR_FILTER_ARRAY],
          [STRIP_OFFSETS, 4, 1, 10_000],
          [STRIP_BYTES, 4, 1, 9_000],
        ]),
      ],
      [
        400,
        dir([
          [COMPRESSION, 3, 1, 7],
          [PHOTOMETRIC, 3, 1, 6],
          [STRIP_OFFSETS, 4, 1, 2_000],
          [STRIP_BYTES, 4, 1, 3_000],
        ]),
      ],
      [2_000, LARGE],
      [10_000, LOSSLESS],
    );
    expect(search(raw).found).toMatchObject({ offset: 2_000, widthPx: 6000 });
  });

  it("is not a lossless JPEG that no photometric tag gives away", () => {
    const raw = file(
      [
        8,
        dir([
          [COMPRESSION, 3, 1, 6],
          [STRIP_OFFSETS, 4, 1, 10_000],
          [STRIP_BYTES, 4, 1, 9_000],
        ]),
      ],
      [10_000, LOSSLESS],
    );
    expect(search(raw).found).toBeNull();
  });

  it("is found as an opaque value of the first directory", () => {
    const raw = file([8, dir([[OPAQUE_JPEG, 7, 3_000, 2_000]])], [2_000, LARGE]);
    expect(search(raw).found).toMatchObject({ offset: 2_000, bytes: 3_000 });
  });

  it("is the one with more pixels, not the one with more bytes", () => {
    const thick = jpegSkeleton({ widthPx: 160, heightPx: 120, bytes: 9_000 });
    const raw = file(
      [
        8,
        dir([
          [JPEG_OFFSET, 4, 1, 20_000],
          [JPEG_BYTES, 4, 1, 9_000],
          [OPAQUE_JPEG, 7, 3_000, 2_000],
        ]),
      ],
      [2_000, LARGE],
      [20_000, thick],
    );
    expect(search(raw).found?.offset).toBe(2_000);
  });

  it("reads a few blocks of a file of 30 MB, not the file", () => {
    const big = new Uint8Array(30_000_000);
    big.set(
      file([
        8,
        dir([
          [JPEG_OFFSET, 4, 1, 25_000_000],
          [JPEG_BYTES, 4, 1, 3_000],
        ]),
      ]),
    );
    big.set(LARGE, 25_000_000);
    const { found, asked, reads } = search(big);
    expect(found?.offset).toBe(25_000_000);
    expect(reads).toBeLessThanOrEqual(3);
    expect(asked).toBeLessThanOrEqual(3 * 4096);
  });

  it("ends on directories that point to themselves and to each other", () => {
    const raw = file([8, dir([[SUB_DIRECTORIES, 4, 1, 8]], 100)], [100, dir([], 8)], [200, SMALL]);
    expect(search(raw).found).toBeNull();
  });

  it.each([
    ["starts beyond the file", 900_000, 500],
    ["starts in the header", 0, 500],
    ["is empty", 1_000, 0],
  ])("is not one that %s", (_what, offset, bytes) => {
    const raw = file(
      [
        8,
        dir([
          [JPEG_OFFSET, 4, 1, offset],
          [JPEG_BYTES, 4, 1, bytes],
        ]),
      ],
      [1_000, SMALL],
    );
    expect(search(raw).found).toBeNull();
  });

  it("is cut to the file when its length reaches beyond the end", () => {
    const raw = file(
      [
        8,
        dir([
          [JPEG_OFFSET, 4, 1, 1_000],
          [JPEG_BYTES, 4, 1, 900_000],
        ]),
      ],
      [1_000, SMALL],
    );
    expect(search(raw).found).toMatchObject({ offset: 1_000, bytes: 500 });
  });

  it("survives any damage to a good file without reading outside it", () => {
    const good = file(
      [
        8,
        dir([
          [SUB_DIRECTORIES, 4, 1, 100],
          [JPEG_OFFSET, 4, 1, 1_000],
          [JPEG_BYTES, 4, 1, 500],
        ]),
      ],
      [100, dir([[OPAQUE_JPEG, 7, 3_000, 2_000]])],
      [1_000, SMALL],
      [2_000, LARGE],
    );
    const damage = fc.array(fc.tuple(fc.nat(300), fc.nat(255)), { maxLength: 8 });
    fc.assert(
      fc.property(damage, fc.nat(good.length), (bytes, length) => {
        const bad = good.slice(0, length);
        for (const [at, value] of bytes) if (at < bad.length) bad[at] = value;
        search(bad);
      }),
      { numRuns: 300 },
    );
  });
});

it("finds nothing in what is no TIFF, and nothing in an empty file", () => {
  expect(search(new Uint8Array(0)).found).toBeNull();
  expect(search(new TextEncoder().encode("no TIFF at all, but long enough")).found).toBeNull();
  expect(search(SMALL).found).toBeNull();
});
