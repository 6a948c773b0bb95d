import fc from "../../support/properties.ts";
import { describe, expect, it } from "vitest";
import { withTiffExif } from "../../../core/metadata/tiffExif.ts";
import type { ExifFields } from "../../../core/metadata/exif.ts";
import { utcMs } from "../../../core/units.ts";

const FIELDS: ExifFields = {
  ...{ widthPx: 1, heightPx: 1, exposureSeconds: 7.43, iso: 3200, fNumber: 2.8 },
  ...{ focalLengthMm: null, isManual: true, sensitivityType: 2, brightnessApex: null },
  ...{ takenUtcMs: utcMs(Date.UTC(2026, 0, 10, 20)), utcOffsetMinutes: 0, exposureBiasStops: 0 },
  ...{ description: "made up", userComment: null, maker: null, model: null },
  ...{ software: "Nattvakt", bodySerialNumber: null, place: null, thumbnail: null },
};

/** One grey pixel: nine bytes of head and picture, then a directory of what TIFF 6.0 requires. */
function smallTiff(): Uint8Array {
  const tags: [number, number][] = [
    ...([[256, 1], [257, 1], [258, 8], [259, 1]] as [number, number][]), // prettier-ignore
    ...([[262, 1], [273, 8], [278, 1], [279, 1]] as [number, number][]), // prettier-ignore
  ];
  const bytes = new Uint8Array(10 + 2 + 12 * tags.length + 4);
  const view = new DataView(bytes.buffer);
  bytes.set([0x49, 0x49, 0x2a, 0, 10, 0, 0, 0, 0x77]);
  view.setUint16(10, tags.length, true);
  for (const [n, [tag, value]] of tags.entries()) {
    view.setUint16(12 + 12 * n, tag, true);
    view.setUint16(14 + 12 * n, 3, true);
    view.setUint32(16 + 12 * n, 1, true);
    view.setUint16(20 + 12 * n, value, true);
  }
  return bytes;
}

/** Tags of a directory with their four value bytes. */
function directory(tiff: Uint8Array, at: number): Map<number, number> {
  const view = new DataView(tiff.buffer, tiff.byteOffset);
  const count = view.getUint16(at, true);
  return new Map(
    Array.from({ length: count }, (_, n) => [
      view.getUint16(at + 2 + 12 * n, true),
      view.getUint32(at + 2 + 12 * n + 8, true),
    ]),
  );
}

describe("Exif in a TIFF", () => {
  it("leaves the picture and its eight fields as they were and leads to the exposure", () => {
    const plain = smallTiff();
    const result = withTiffExif(plain, FIELDS);
    expect([...result.subarray(8, plain.length)]).toEqual([...plain.subarray(8)]);
    const view = new DataView(result.buffer);
    const first = directory(result, view.getUint32(4, true));
    expect([...first.keys()]).toEqual([...first.keys()].sort((a, b) => a - b));
    for (const [tag, value] of directory(plain, 10)) expect(first.get(tag)).toBe(value);
    const exif = directory(result, first.get(0x8769)!);
    const at = exif.get(0x829a)!;
    expect(view.getUint32(at, true) / view.getUint32(at + 4, true)).toBeCloseTo(7.43, 6);
    expect(first.has(0x8825)).toBe(false);
  });

  it("is done twice without harm: the newer Exif is the one that counts", () => {
    const twice = withTiffExif(withTiffExif(smallTiff(), { ...FIELDS, iso: 100 }), FIELDS);
    const view = new DataView(twice.buffer);
    const at = view.getUint32(4, true);
    const first = directory(twice, at);
    expect(first.size).toBe(view.getUint16(at, true));
    expect(directory(twice, first.get(0x8769)!).get(0x8827)).toBe(3200);
  });

  it("refuses what is no little-endian TIFF in one sentence, whatever the bytes are", () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 60 }), (bytes) => {
        expect(() => withTiffExif(bytes, FIELDS)).toThrowError(/not a little-endian TIFF/);
      }),
    );
    const cut = smallTiff().subarray(0, 40);
    expect(() => withTiffExif(cut, FIELDS)).toThrowError(/not a little-endian TIFF/);
  });
});
