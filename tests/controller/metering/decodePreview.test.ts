import { writeFileSync } from "node:fs";
import { join } from "node:path";
import sharp, { type Sharp } from "sharp";
import { describe, expect, test } from "vitest";
import { decodePixels, decodePreview } from "../../../controller/metering/decodePreview.ts";
import { readJpegHeader } from "../../../core/metadata/jpegHeader.ts";
import { NightError } from "../../../core/errors.ts";
import { meterFrame, startMeter } from "../../../core/photometry/meter.ts";
import { createRandom } from "../../../core/random.ts";
import { monotonicMs } from "../../../core/units.ts";
import { adobeRgbProfile } from "../../support/adobeRgbProfile.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

type Colour = readonly [red: number, green: number, blue: number];

/** An image whose left half is one colour and whose right half another. */
function halves(left: Colour, right: Colour, width = 300, height = 200): Sharp {
  const data = Buffer.alloc(width * height * 3);
  for (let pixel = 0; pixel < width * height; pixel += 1) {
    const colour = pixel % width < width / 2 ? left : right;
    for (let channel = 0; channel < 3; channel += 1) data[pixel * 3 + channel] = colour[channel]!;
  }
  return sharp(data, { raw: { width, height, channels: 3 } });
}

const even = (colour: Colour, width?: number, height?: number): Sharp =>
  halves(colour, colour, width, height);

async function colourAt(jpeg: Uint8Array, x: number, y: number): Promise<number[]> {
  const { rgb, widthPx } = await decodePixels(jpeg);
  return [...rgb.subarray((y * widthPx + x) * 3, (y * widthPx + x) * 3 + 3)];
}

function expectNear(colour: readonly number[], wanted: readonly number[], tolerance: number): void {
  for (const [index, value] of colour.entries()) {
    expect(Math.abs(value - wanted[index]!)).toBeLessThanOrEqual(tolerance);
  }
}

async function refusal(bytes: Uint8Array): Promise<NightError> {
  const thrown: unknown = await decodePreview(bytes).then(
    () => null,
    (error: unknown) => error,
  );
  expect(thrown).toBeInstanceOf(NightError);
  return thrown as NightError;
}

describe("the size that is metered", () => {
  test.each([
    [160, 160],
    [640, 640],
    [1500, 750],
    [1920, 480],
    [3000, 750],
    [6000, 750],
    [8256, 1032],
  ])("of a file %i px wide is %i px", async (fileWidthPx, widthPx) => {
    const height = Math.round(fileWidthPx / 6);
    const jpeg = await even([90, 120, 80], fileWidthPx, height).jpeg().toBuffer();
    const decoded = await decodePixels(jpeg);
    expect(decoded.widthPx).toBe(widthPx);
    expect(decoded.fileWidthPx).toBe(fileWidthPx);
    expect(decoded.fileHeightPx).toBe(height);
    expect(decoded.rgb).toHaveLength(decoded.widthPx * decoded.heightPx * 3);
  });

  test("comes with a thumbnail for the page and a slice for the keogram, top to bottom", async () => {
    const data = Buffer.alloc(900 * 600 * 3);
    for (let pixel = 0; pixel < 900 * 600; pixel += 1) {
      data.fill(Math.floor(pixel / 900 / 3), pixel * 3, pixel * 3 + 3);
    }
    const image = sharp(data, { raw: { width: 900, height: 600, channels: 3 } });
    const decoded = await decodePreview(await image.jpeg({ quality: 95 }).toBuffer());
    const thumbnail = await sharp(decoded.thumbnail).metadata();
    expect(thumbnail.format).toBe("jpeg");
    expect(thumbnail.width).toBe(320);
    expect(decoded.column).toHaveLength(decoded.heightPx * 3);
    expect(decoded.column[0]!).toBeLessThan(5);
    expect(decoded.column.at(-1)!).toBeGreaterThan(194);
    expect(Math.abs(decoded.column[(decoded.heightPx >> 1) * 3]! - 100)).toBeLessThan(4);
  });
});

describe("an unusual preview", () => {
  test("black and white ones keep codes 0 and 255", async () => {
    expect(await colourAt(await even([0, 0, 0]).jpeg().toBuffer(), 10, 10)).toEqual([0, 0, 0]);
    expect(await colourAt(await even([255, 255, 255]).jpeg().toBuffer(), 10, 10)).toEqual([
      255, 255, 255,
    ]);
  });

  test.each([
    [1, 300, 200, "left"],
    [3, 300, 200, "right"],
    [6, 200, 300, "top"],
    [8, 200, 300, "bottom"],
  ] as const)(
    "of Exif orientation %i stands upright: %i × %i, the red half at the %s",
    async (orientation, widthPx, heightPx, side) => {
      const jpeg = await halves([200, 20, 20], [20, 20, 200])
        .withMetadata({ orientation })
        .jpeg({ quality: 95 })
        .toBuffer();
      expect(readJpegHeader(jpeg)?.orientation).toBe(orientation);
      const decoded = await decodePixels(jpeg);
      expect([decoded.widthPx, decoded.heightPx]).toEqual([widthPx, heightPx]);
      expect([decoded.fileWidthPx, decoded.fileHeightPx]).toEqual([widthPx, heightPx]);
      const spot = {
        left: [20, 100],
        right: [280, 100],
        top: [100, 20],
        bottom: [100, 280],
      }[side] as [number, number];
      const [red, , blue] = await colourAt(jpeg, ...spot);
      expect(red!).toBeGreaterThan(180);
      expect(blue!).toBeLessThan(60);
    },
  );

  test.each([[[118, 118, 118]], [[60, 140, 70]], [[180, 100, 100]]] as [Colour][])(
    "in Adobe RGB comes out in sRGB again: %j",
    async (colour) => {
      const folder = temporaryFolder();
      const profile = join(folder, "adobe.icc");
      writeFileSync(profile, adobeRgbProfile());
      const jpeg = await even(colour).withIccProfile(profile).jpeg({ quality: 98 }).toBuffer();
      const stored = await sharp(jpeg, { ignoreIcc: true }).raw().toBuffer();
      expectNear(await colourAt(jpeg, 50, 50), colour, 3);
      if (colour[0] !== colour[1]) {
        const shift = Math.max(...colour.map((code, index) => Math.abs(code - stored[index]!)));
        expect(shift).toBeGreaterThan(8);
      }
    },
  );

  test("in greyscale has three equal channels", async () => {
    const jpeg = await even([100, 100, 100]).toColourspace("b-w").jpeg().toBuffer();
    expect((await sharp(jpeg).metadata()).channels).toBe(1);
    expectNear(await colourAt(jpeg, 10, 10), [100, 100, 100], 1);
  });

  test("in CMYK comes out in sRGB", async () => {
    const jpeg = await even([90, 130, 100]).toColourspace("cmyk").jpeg({ quality: 95 }).toBuffer();
    expect((await sharp(jpeg).metadata()).space).toBe("cmyk");
    expectNear(await colourAt(jpeg, 10, 10), [90, 130, 100], 12);
  });

  test("as a progressive JPEG, and as PNG with transparency, is read like any other", async () => {
    const progressive = await even([90, 130, 100], 1600, 200)
      .jpeg({ progressive: true })
      .toBuffer();
    expectNear(await colourAt(progressive, 10, 10), [90, 130, 100], 3);
    const png = await even([90, 130, 100]).ensureAlpha(1).png().toBuffer();
    expectNear(await colourAt(png, 10, 10), [90, 130, 100], 1);
  });

  test.each([
    [1, 1],
    [2, 3],
    [16, 9],
  ])("of %i × %i pixels is metered all the same", async (widthPx, heightPx) => {
    const preview = await decodePreview(
      await even([118, 118, 118], widthPx, heightPx).jpeg().toBuffer(),
    );
    expect([preview.widthPx, preview.heightPx]).toEqual([widthPx, heightPx]);
    const { reading } = meterFrame(
      startMeter({ focalLengthMm: 16, pixelPitchUm: 6, fullWidthPx: 6000 }),
      {
        ...preview,
        exposure: { exposureSeconds: 5, iso: 800, fNumber: 2.8 },
        openedMs: monotonicMs(0),
      },
    );
    expect(reading.skyStops).toBeCloseTo(0, 1);
  });
});

describe("a preview that cannot be read", () => {
  const random = createRandom("noise");
  const noise = Buffer.from(Uint8Array.from({ length: 300 * 200 * 3 }, () => random.integer(256)));
  const whole = sharp(noise, { raw: { width: 300, height: 200, channels: 3 } })
    .jpeg()
    .toBuffer();

  test.each([0.01, 0.3, 0.7, 0.98])(
    "because it ends after %f of its bytes says so",
    async (share) => {
      const jpeg = await whole;
      const error = await refusal(jpeg.subarray(0, Math.floor(jpeg.length * share)));
      expect(error.code).toBe("image.unreadable");
      expect(error.recovery).toBe("degrade");
    },
  );

  test.each([
    ["empty", new Uint8Array(0)],
    ["words", Buffer.from("no image at all")],
    ["zeros", new Uint8Array(5000)],
    ["a JPEG's first two bytes", Uint8Array.of(0xff, 0xd8)],
  ])("because it is %s says so in one sentence", async (_, bytes) => {
    const error = await refusal(bytes);
    expect(error.code).toBe("image.unreadable");
    expect(error.message).toMatch(/^the image cannot be read \([^\n]+\)$/);
  });

  test("any damage gives an answer: a picture or the one error, for 60 random cuts and flips", async () => {
    const jpeg = await whole;
    for (let round = 0; round < 60; round += 1) {
      const bytes = Uint8Array.from(jpeg);
      for (let flip = 0; flip < 12; flip += 1)
        bytes[random.integer(bytes.length)] = random.integer(256);
      const cut = bytes.subarray(0, 1 + random.integer(bytes.length));
      const thrown: unknown = await decodePixels(round % 2 === 0 ? bytes : cut).then(
        () => null,
        (error: unknown) => error,
      );
      if (thrown !== null) expect((thrown as NightError).code).toBe("image.unreadable");
    }
  });
});

describe("a JPEG's header", () => {
  test("agrees with the decoder on size", async () => {
    const jpeg = await even([1, 2, 3], 333, 77).jpeg().toBuffer();
    expect(readJpegHeader(jpeg)).toEqual({
      widthPx: 333,
      heightPx: 77,
      orientation: 1,
      isProgressive: false,
    });
  });

  test("of no JPEG is null, whatever the bytes", () => {
    const random = createRandom("header");
    for (let round = 0; round < 300; round += 1) {
      const bytes = Uint8Array.from({ length: random.integer(64) }, () => random.integer(256));
      if (round % 2 === 0) bytes.set([0xff, 0xd8].slice(0, bytes.length));
      expect(() => readJpegHeader(bytes)).not.toThrow();
    }
    expect(readJpegHeader(Buffer.from("GIF89a"))).toBeNull();
  });
});
