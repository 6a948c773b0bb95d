// Exif read back by exiftool (Debian package libimage-exiftool-perl), a reader that is not ours.
import { execFileSync } from "node:child_process";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import sharp from "sharp";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { encodeExif, withExif, type ExifFields } from "../../core/metadata/exif.ts";
import { utcMs } from "../../core/units.ts";
import { hasTool } from "../support/outsideTool.ts";

const hasExiftool = hasTool("exiftool", "Exif is not checked from outside");

const FIELDS: ExifFields = {
  widthPx: 96,
  heightPx: 64,
  exposureSeconds: 7.43,
  iso: 3200,
  fNumber: 2.8,
  focalLengthMm: 16,
  isManual: true,
  sensitivityType: 2,
  takenUtcMs: utcMs(Date.UTC(2027, 2, 24, 21, 59, 58, 607)),
  utcOffsetMinutes: 120,
  exposureBiasStops: -1 / 3,
  brightnessApex: -9.5,
  description: "Hut Seven",
  userComment: "bågar över sjön",
  maker: "Nattvakt",
  model: "Virtual camera",
  software: null,
  bodySerialNumber: "0000002a",
  place: { latitudeDeg: 69.65, longitudeDeg: -18.96, altitudeM: -3.5, directionDeg: 350 },
  thumbnail: null,
};

let folder: string;
let plain: Uint8Array;
beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), "nattvakt-exif-"));
  const grey = { width: 96, height: 64, channels: 3 as const, background: "#555" };
  plain = await sharp({ create: grey }).jpeg().toBuffer();
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** What exiftool reads, by group and tag; numbers unformatted. */
function read(jpeg: Uint8Array): Record<string, unknown> {
  const file = join(folder, "frame.jpg");
  writeFileSync(file, jpeg);
  const output = execFileSync("exiftool", ["-j", "-n", "-G1", "-validate", "-all", file]);
  return (JSON.parse(String(output)) as [Record<string, unknown>])[0];
}

describe.runIf(hasExiftool)("a frame's Exif as exiftool reads it", () => {
  test("the exposure that happened, ISO, aperture and focal length", () => {
    const tags = read(withExif(plain, encodeExif(FIELDS)));
    expect(tags).toMatchObject({
      "ExifIFD:ExposureTime": 7.43,
      "ExifIFD:FNumber": 2.8,
      "ExifIFD:ISO": 3200,
      "ExifIFD:RecommendedExposureIndex": 3200,
      "ExifIFD:SensitivityType": 2,
      "ExifIFD:FocalLength": 16,
      "ExifIFD:ExposureProgram": 1,
      "ExifIFD:ExposureMode": 1,
      "ExifIFD:ExifVersion": "0232",
      "ExifIFD:ExifImageWidth": 96,
      "ExifIFD:ExifImageHeight": 64,
      "ExifIFD:SerialNumber": "0000002a",
      "ExifIFD:UserComment": "bågar över sjön",
      "IFD0:ImageDescription": "Hut Seven",
      "IFD0:Orientation": 1,
    });
    expect(tags["ExifIFD:ApertureValue"]).toBeCloseTo(2.8, 4);
    expect(tags["ExifIFD:ShutterSpeedValue"]).toBeCloseTo(7.43, 4);
    expect(tags["ExifIFD:BrightnessValue"]).toBe(-9.5);
    expect(tags["ExifIFD:ExposureCompensation"]).toBeCloseTo(-1 / 3, 5);
  });

  test("times with sub-seconds and offset: 21:59:58.607 UTC is 23:59:58.607 at +02:00", () => {
    const tags = read(withExif(plain, encodeExif(FIELDS)));
    expect(tags).toMatchObject({
      "ExifIFD:DateTimeOriginal": "2027:03:24 23:59:58",
      "ExifIFD:CreateDate": "2027:03:24 23:59:58",
      "ExifIFD:SubSecTimeOriginal": 607,
      "ExifIFD:SubSecTimeDigitized": 607,
      "ExifIFD:OffsetTimeOriginal": "+02:00",
      "ExifIFD:OffsetTimeDigitized": "+02:00",
      "Composite:SubSecDateTimeOriginal": "2027:03:24 23:59:58.607+02:00",
    });
  });

  test("an offset of half an hour west is written with its sign", () => {
    const tags = read(withExif(plain, encodeExif({ ...FIELDS, utcOffsetMinutes: -210 })));
    expect(tags["Composite:SubSecDateTimeOriginal"]).toBe("2027:03:24 18:29:58.607-03:30");
  });

  test("place, height below the sea, direction and UTC", () => {
    const tags = read(withExif(plain, encodeExif(FIELDS)));
    expect(tags["Composite:GPSLatitude"]).toBeCloseTo(69.65, 7);
    expect(tags["Composite:GPSLongitude"]).toBeCloseTo(-18.96, 7);
    expect(tags["Composite:GPSAltitude"]).toBe(-3.5);
    expect(tags["GPS:GPSImgDirection"]).toBe(350);
    expect(tags["GPS:GPSImgDirectionRef"]).toBe("T");
    expect(tags["Composite:GPSDateTime"]).toBe("2027:03:24 21:59:58.607Z");
  });

  test("ISO 102400 reads as 65535 with the number itself beside it", () => {
    const tags = read(withExif(plain, encodeExif({ ...FIELDS, iso: 102_400 })));
    expect(tags["ExifIFD:ISO"]).toBe(65_535);
    expect(tags["ExifIFD:RecommendedExposureIndex"]).toBe(102_400);
  });

  test.each([1 / 4000, 0.5, 15, 1800, 86_400])("an exposure of %d s comes back", (seconds) => {
    const tags = read(withExif(plain, encodeExif({ ...FIELDS, exposureSeconds: seconds })));
    expect(Number(tags["ExifIFD:ExposureTime"]) / seconds).toBeCloseTo(1, 5);
  });

  test("the thumbnail comes back byte for byte, and nothing is to be warned of", async () => {
    const thumbnail = await sharp(plain).resize(160, 120).jpeg({ quality: 70 }).toBuffer();
    const jpeg = withExif(plain, encodeExif({ ...FIELDS, thumbnail }));
    expect(read(jpeg)["ExifTool:Validate"]).toBe("0 0 0");
    const file = join(folder, "frame.jpg");
    expect(execFileSync("exiftool", ["-b", "-ThumbnailImage", file])).toEqual(thumbnail);
  });

  test("new Exif takes the place of old, and the picture stays as it was", async () => {
    const once = withExif(plain, encodeExif(FIELDS));
    const twice = withExif(once, encodeExif({ ...FIELDS, iso: 800 }));
    expect(read(twice)["ExifIFD:ISO"]).toBe(800);
    expect(twice.byteLength).toBe(once.byteLength);
    const pixels = async (jpeg: Uint8Array) => sharp(jpeg).raw().toBuffer();
    expect(await pixels(twice)).toEqual(await pixels(plain));
  });
});
