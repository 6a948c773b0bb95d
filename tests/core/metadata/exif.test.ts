import fc from "../../support/properties.ts";
import { describe, expect, test } from "vitest";
import { encodeExif, withExif, type ExifFields } from "../../../core/metadata/exif.ts";
import { utcMs } from "../../../core/units.ts";
import { toHex } from "../../support/hex.ts";

const FIELDS: ExifFields = {
  widthPx: 1500,
  heightPx: 1000,
  exposureSeconds: 16,
  iso: 1600,
  fNumber: 2.8,
  focalLengthMm: null,
  isManual: true,
  sensitivityType: 2,
  takenUtcMs: utcMs(0),
  utcOffsetMinutes: 0,
  exposureBiasStops: 0,
  brightnessApex: null,
  description: null,
  userComment: null,
  maker: null,
  model: null,
  software: null,
  bodySerialNumber: null,
  place: { latitudeDeg: 69.65, longitudeDeg: 18.96, altitudeM: null, directionDeg: null },
  thumbnail: null,
};

/** The bytes of a tag's value, found by walking the directories as TIFF 6.0 describes. */
function valueOf(segment: Uint8Array, tag: number): Uint8Array {
  const tiff = segment.subarray(10);
  const view = new DataView(tiff.buffer, tiff.byteOffset, tiff.byteLength);
  const directories = [view.getUint32(4, true)];
  for (let at = directories.pop(); at !== undefined; at = directories.pop()) {
    const count = view.getUint16(at, true);
    for (let index = 0; index < count; index += 1) {
      const entry = at + 2 + 12 * index;
      const found = view.getUint16(entry, true);
      if (found === 0x8769 || found === 0x8825) directories.push(view.getUint32(entry + 8, true));
      if (found !== tag) continue;
      const size = [0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8][view.getUint16(entry + 2, true)]!;
      const bytes = size * view.getUint32(entry + 4, true);
      const start = bytes <= 4 ? entry + 8 : view.getUint32(entry + 8, true);
      return tiff.subarray(start, start + bytes);
    }
  }
  throw new Error(`no tag ${tag.toString(16)}`);
}

describe("worked values (Exif 2.32: 69.65 N is 69, 39, 0; 16 s is Tv −4; f/2.8 is Av 2.971)", () => {
  const segment = encodeExif(FIELDS);

  test("latitude is 69/1, 39/1, 0/1", () => {
    expect(toHex(valueOf(segment, 0x02))).toBe(
      "45 00 00 00 01 00 00 00 27 00 00 00 01 00 00 00 00 00 00 00 01 00 00 00",
    );
  });

  test("an exposure of 16 s is 16/1 and a shutter speed value of -4/1", () => {
    expect(toHex(valueOf(segment, 0x829a))).toBe("10 00 00 00 01 00 00 00");
    expect(toHex(valueOf(segment, 0x9201))).toBe("fc ff ff ff 01 00 00 00");
  });

  test("f/2.8 is an aperture value of 2.971", () => {
    const bytes = valueOf(segment, 0x9202);
    const view = new DataView(bytes.buffer, bytes.byteOffset, 8);
    expect(view.getUint32(0, true) / view.getUint32(4, true)).toBeCloseTo(2.971, 3);
  });

  test("a missing value is left out rather than written as nothing", () => {
    expect(() => valueOf(segment, 0x920a)).toThrow("no tag 920a");
  });
});

describe("bad input", () => {
  test.each([{ exposureSeconds: 0 }, { iso: NaN }, { fNumber: -1 }])("%j is refused", (wrong) => {
    expect(() => encodeExif({ ...FIELDS, ...wrong })).toThrowError(
      expect.objectContaining({ code: "quantity.out_of_range" }),
    );
  });

  test("a file that is no JPEG is refused", () => {
    expect(() => withExif(Uint8Array.from([1, 2, 3, 4]), encodeExif(FIELDS))).toThrowError(
      expect.objectContaining({ code: "image.unreadable" }),
    );
  });

  test("any bytes after the beginning are carried along, never read past their end", () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 80 }), (rest) => {
        const result = withExif(Uint8Array.from([0xff, 0xd8, ...rest]), encodeExif(FIELDS));
        expect(result.byteLength).toBeLessThanOrEqual(2 + encodeExif(FIELDS).byteLength + 80);
        expect([...result.subarray(0, 4)]).toEqual([0xff, 0xd8, 0xff, 0xe1]);
      }),
    );
  });

  test("a thumbnail too large for the segment is left out, and the segment still fits", () => {
    const huge = encodeExif({ ...FIELDS, thumbnail: new Uint8Array(70_000) });
    expect(huge.byteLength).toBe(encodeExif(FIELDS).byteLength);
  });
});
