/** What delivering makes, checked by programs that know nothing of it. */
import { mkdtempSync, readFileSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import sharp from "sharp";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { decodeSrgb } from "../../core/photometry/srgb.ts";
import { deliverInTest } from "../support/deliverInTest.ts";
import { frameToFrameRms } from "../support/flickerNight.ts";
import { hasTool, runTool } from "../support/outsideTool.ts";
import { renderNight, type RenderedNight } from "../support/renderedNight.ts";

const COUNT = 40;
const RUNGS = [0, 1, 0, -1];

let folder = "";
let outDir = "";
let night: RenderedNight;

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), "nattvakt-deliver-"));
  night = await renderNight({
    dataDir: folder,
    count: COUNT,
    widthPx: 192,
    heightPx: 128,
    scatterStops: 0.05,
    arcAltitudeDeg: 40,
    exposure: (_seconds, frame) => ({
      exposureSeconds: 8,
      iso: 1600 * 2 ** (RUNGS[Math.floor(frame / 7) % 4]! / 3),
      fNumber: 2.8,
    }),
  });
  outDir = join(night.nightDir, "deliver");
  await deliverInTest(night.nightDir, outDir, {
    ...{ videos: ["h264", "vp9"], keogram: true, starTrail: true, contactSheet: true },
    sidecars: true,
  });
  await deliverInTest(night.nightDir, wideDir(), {
    ...{ sequence: "tiff16", toUtcMs: Date.UTC(2026, 0, 10, 20, 0, 45) },
  });
}, 120_000);

/** Where the first frames lie as 16-bit TIFF. */
function wideDir(): string {
  return join(folder, "wide");
}

afterAll(() => {
  rmSync(folder, { recursive: true, force: true });
});

function sequence(): string {
  return join(outDir, "sequence-made-up-000000");
}

const METADATA_LOST = "delivered metadata is not read from outside";
const FILMS_LOST = "films are not read from outside";

describe.runIf(hasTool("exiftool", METADATA_LOST))("exiftool", () => {
  it("finds nothing wrong with any kind of file: frames, trail, keogram, contact sheet, films, XMP beside frames", () => {
    const files = [
      join(wideDir(), "sequence-made-up-000000/000003.tif"),
      join(outDir, "film-made-up-000000.mp4"),
      join(outDir, "film-made-up-000000.webm"),
      join(sequence(), "000010.jpg"),
      join(outDir, "keogram.png"),
      join(outDir, "contact-sheet.jpg"),
      join(outDir, "star-trail-made-up-000000.jpg"),
      join(night.nightDir, "frames/000009.xmp"),
    ];
    for (const file of files) {
      const said = runTool("exiftool", ["-validate", "-warning", "-error", "-a", file]);
      expect(said, file).toMatch(/Validate\s+: OK/);
      expect(said, file).not.toMatch(/Warning|Error/);
    }
  });

  const readTags = (path: string): Record<string, unknown> =>
    (
      JSON.parse(runTool("exiftool", ["-json", "-n", "-a", "-G1", "-struct", path])) as Record<
        string,
        unknown
      >[]
    )[0]!;

  it("reads the same of a 16-bit TIFF, from its Exif and from its XMP, and finds its picture whole", async () => {
    const path = join(wideDir(), "sequence-made-up-000000/000003.tif");
    const tags = readTags(path);
    expect(tags).toMatchObject({
      ...{
        "IFD0:ImageWidth": 192,
        "IFD0:BitsPerSample": "16 16 16",
        "IFD0:Software": "Nattvakt",
      },
      "IFD0:ImageDescription": "Hut Seven, Set 1, frame 2",
      ...{ "ExifIFD:ExposureTime": 8, "ExifIFD:FNumber": 2.8, "ExifIFD:ISO": 1600 },
      ...{ "ExifIFD:DateTimeOriginal": "2026:01:10 20:00:20", "ExifIFD:SubSecTimeOriginal": 250 },
      ...{ "ExifIFD:OffsetTimeOriginal": "+00:00", "ExifIFD:ExifVersion": "0232" },
      ...{ "GPS:GPSLatitude": 68.9, "GPS:GPSLongitude": 27, "GPS:GPSImgDirection": 0 },
      ...{ "GPS:GPSAltitude": 212, "XMP-exif:GPSAltitude": 212 },
      ...{ "XMP-exif:ExposureTime": 8, "XMP-xmp:CreatorTool": "Nattvakt" },
    });
    expect(tags["XMP-exif:ExposureCompensation"]).toBeCloseTo(
      tags["ExifIFD:ExposureCompensation"] as number,
      5,
    );
    const { data } = await sharp(path)
      .raw({ depth: "ushort" })
      .toBuffer({ resolveWithObject: true });
    expect(data.byteLength).toBe(192 * 128 * 3 * 2);
  });

  it("reads when and where from films, trail, keogram and contact sheet, and no exposure", () => {
    expect(readTags(join(outDir, "film-made-up-000000.mp4"))).toMatchObject({
      "QuickTime:CreateDate": "2026:01:10 20:00:00",
      "ItemList:Title": "Rendered: film h264 of Set 1",
      "UserData:LocationInformation": expect.stringMatching(
        /Lat=68\.(9|8999)\d* Lon=27\.0\d* Alt=212/,
      ) as string,
    });
    expect(readTags(join(outDir, "film-made-up-000000.webm"))).toMatchObject({
      "Matroska:Title": "Rendered: film vp9 of Set 1",
    });
    for (const file of ["star-trail-made-up-000000.jpg", "contact-sheet.jpg"]) {
      const tags = readTags(join(outDir, file));
      expect(tags, file).toMatchObject({
        ...{ "ExifIFD:DateTimeOriginal": "2026:01:10 20:00:00", "GPS:GPSLatitude": 68.9 },
      });
      expect(tags, file).not.toHaveProperty("ExifIFD:ExposureTime");
    }
    const keogram = readTags(join(outDir, "keogram.png"));
    expect(keogram).toMatchObject({
      ...{ "XMP-dc:Description": "keogram of made-up", "XMP-exif:GPSLatitude": 68.9 },
    });
    expect(keogram).not.toHaveProperty("XMP-exif:ExposureTime");
  });

  it("reads the exposure that happened, the time to a hundredth, place, direction and the deflicker bias", () => {
    const tags = readTags(join(sequence(), "000010.jpg"));
    expect(tags).toMatchObject({
      "ExifIFD:ExposureTime": 8,
      "ExifIFD:FNumber": 2.8,
      "ExifIFD:ISO": 2016,
      "ExifIFD:DateTimeOriginal": "2026:01:10 20:01:30",
      "ExifIFD:OffsetTimeOriginal": "+00:00",
      "ExifIFD:ExifVersion": "0232",
      "GPS:GPSLatitude": 68.9,
      "GPS:GPSLongitude": 27,
      "GPS:GPSAltitude": 212,
      "GPS:GPSImgDirection": 0,
    });
    expect(Number(`0.${String(tags["ExifIFD:SubSecTimeOriginal"])}`)).toBeCloseTo(0.25, 3);
    const bias = tags["ExifIFD:ExposureCompensation"] as number;
    expect(tags["XMP-exif:ExposureCompensation"]).toBeCloseTo(bias, 3);
    // A rung of a third up is taken down again, give or take the frame's own scatter.
    expect(bias).toBeLessThan(-0.1);
    expect(readTags(join(night.nightDir, "frames/000009.xmp"))).toMatchObject({
      "XMP-exif:ExposureTime": 8,
      "XMP-exifEX:PhotographicSensitivity": 2016,
    });
  });
});

describe.runIf(hasTool("ffprobe", FILMS_LOST))("ffprobe", () => {
  it.each([
    ["film-made-up-000000.mp4", "h264"],
    ["film-made-up-000000.webm", "vp9"],
  ])(
    "counts every frame of %s at 25 a second, 4:2:0, tagged BT.709 in studio range",
    (file, codec) => {
      const said = runTool("ffprobe", [
        ...["-v", "error", "-count_frames", "-select_streams", "v:0", "-of", "json"],
        ...["-show_entries", "stream", join(outDir, file)],
      ]);
      const [stream] = (JSON.parse(said) as { streams: Record<string, unknown>[] }).streams;
      expect(stream).toMatchObject({
        codec_name: codec,
        ...{ width: 192, height: 128, pix_fmt: "yuv420p", r_frame_rate: "25/1" },
        nb_read_frames: String(COUNT),
        ...{ color_range: "tv", color_space: "bt709" },
        ...{ color_transfer: "bt709", color_primaries: "bt709" },
      });
    },
  );

  it("finds the index of the MP4 before its pictures, so that it plays while it loads", () => {
    const bytes = readFileSync(join(outDir, "film-made-up-000000.mp4"));
    expect(bytes.indexOf("moov")).toBeGreaterThan(0);
    expect(bytes.indexOf("moov")).toBeLessThan(bytes.indexOf("mdat"));
  });
});

describe.runIf(hasTool("ffmpeg", FILMS_LOST) && hasTool("ffprobe", FILMS_LOST))(
  "signalstats",
  () => {
    /** Mean code of each picture by the encoder's own image filters, as stops of light. */
    function brightnessStops(pattern: string): number[] {
      const said = runTool("ffprobe", [
        ...["-v", "error", "-f", "lavfi", "-of", "csv=p=0"],
        ...["-i", `movie=${pattern}:f=image2,format=gray,signalstats`],
        ...["-show_entries", "frame_tags=lavfi.signalstats.YAVG"],
      ]);
      return said
        .trim()
        .split("\n")
        .map((line) => Math.log2(decodeSrgb(parseFloat(line) / 255)));
    }

    it("finds 0.05 stop of flicker and thirds of steps in the frames, and at most 0.01 stop in the sequence", () => {
      const before = brightnessStops(join(night.nightDir, "frames", "%06d.jpg"));
      const after = brightnessStops(join(sequence(), "%06d.jpg"));
      expect(before).toHaveLength(COUNT);
      expect(after).toHaveLength(COUNT);
      expect(frameToFrameRms(before)).toBeGreaterThan(0.08);
      expect(frameToFrameRms(after)).toBeLessThan(0.01);
    });
  },
);

describe.runIf(hasTool("sqlite3", "the catalogue is not read from outside"))("sqlite3", () => {
  it("finds the catalogue whole", () => {
    const path = join(night.nightDir, "catalogue.sqlite");
    expect(runTool("sqlite3", [path, "PRAGMA integrity_check"]).trim()).toBe("ok");
    expect(runTool("sqlite3", [path, "SELECT count(*) FROM frames"]).trim()).toBe(String(COUNT));
  });
});

describe("the keogram of an arc at 40 degrees", () => {
  it("shows it at 40 degrees, half a degree either way, from the first column to the last", async () => {
    const { data, info } = await sharp(join(outDir, "keogram.png"))
      .raw()
      .toBuffer({ resolveWithObject: true });
    // The picture's frame: margins as drawn, read off the picture itself by its green arc.
    const [left, top, right, bottom] = [64, 26, 16, 44];
    const height = info.height - top - bottom;
    const columns = [left + 5, Math.round(info.width / 2), info.width - right - 5];
    for (const x of columns) {
      let [sum, weights] = [0, 0];
      for (let y = 0; y < height; y += 1) {
        const at = ((top + y) * info.width + x) * info.channels;
        const green = Math.max(0, data[at + 1]! - Math.max(data[at]!, data[at + 2]!));
        if (green < 20) continue;
        sum += green * (y + 0.5);
        weights += green;
      }
      // 24 mm lens, 24 mm of picture height, looking 30 degrees up: the pinhole projection again.
      const angle = Math.atan(0.5 - sum / weights / height);
      expect(30 + (angle * 180) / Math.PI).toBeGreaterThan(39.5);
      expect(30 + (angle * 180) / Math.PI).toBeLessThan(40.5);
    }
  });
});

describe("the sequence", () => {
  it("is numbered from 000001 without a hole", () => {
    expect(readdirSync(sequence()).sort()).toEqual(
      Array.from({ length: COUNT }, (_, n) => `${String(n + 1).padStart(6, "0")}.jpg`),
    );
  });
});
