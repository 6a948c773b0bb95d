import sharp from "sharp";
import { NightError } from "../../core/errors.ts";
import { readJpegHeader, type JpegHeader } from "../../core/metadata/jpegHeader.ts";
import { openImage } from "./openImage.ts";

/** A preview made ready for the meter and the page. */
type DecodedPreview = {
  readonly widthPx: number;
  readonly heightPx: number;
  /** sRGB, three bytes a pixel, row by row, upright as its Exif orientation says. */
  readonly rgb: Uint8Array;
  /** Width of the file's own image as it stands upright; the meter's image is this over a whole factor. */
  readonly fileWidthPx: number;
  readonly fileHeightPx: number;
  /** A small JPEG for the page. */
  readonly thumbnail: Uint8Array;
  /** Mean of the middle columns, top to bottom, three bytes a row: this frame's slice of the keogram. */
  readonly column: Uint8Array;
};

type DecodeOptions = {
  /** The metered image is no wider than this where a whole shrink factor up to 8 allows. */
  readonly widthPxMax?: number;
  /** Width of the page's thumbnail. */
  readonly thumbnailWidthPx?: number;
};

const METER_WIDTH_PX_MAX = 800;
const THUMBNAIL_WIDTH_PX = 320;

/**
 * Decodes a JPEG for metering, in sharp's own threads. The decoder's shrink-on-load by 2, 4 or 8
 * does the reduction, so that a large file costs little more than reading its codes.
 *
 * @throws NightError `image.unreadable` when it is no image, is truncated, or is too large.
 */
export async function decodePreview(
  jpeg: Uint8Array,
  options: DecodeOptions = {},
): Promise<DecodedPreview> {
  const pixels = await decodePixels(jpeg, options.widthPxMax ?? METER_WIDTH_PX_MAX);
  const thumbnail = await encodeThumbnail(pixels, options.thumbnailWidthPx ?? THUMBNAIL_WIDTH_PX);
  return { ...pixels, thumbnail, column: middleColumn(pixels) };
}

export type DecodedPixels = Omit<DecodedPreview, "thumbnail" | "column">;

/** The metered image alone. @throws NightError `image.unreadable` as above. */
export async function decodePixels(
  jpeg: Uint8Array,
  widthPxMax = METER_WIDTH_PX_MAX,
): Promise<DecodedPixels> {
  try {
    const { widthPx, heightPx, orientation } = readJpegHeader(jpeg) ?? (await askDecoder(jpeg));
    const isTurned = orientation >= 5;
    const fileWidthPx = isTurned ? heightPx : widthPx;
    const factor = shrinkFactor(fileWidthPx, widthPxMax);
    const image = openImage(jpeg, { failOn: "truncated" }, factor);
    if (orientation > 1) image.autoOrient();
    if (factor > 1) image.resize(Math.ceil(fileWidthPx / factor));
    // sharp converts to sRGB by itself, by the file's own profile when it has one.
    const { data, info } = await image.raw().toBuffer({ resolveWithObject: true });
    return {
      widthPx: info.width,
      heightPx: info.height,
      rgb: info.channels === 3 ? data : threeChannels(data, info.channels),
      fileWidthPx,
      fileHeightPx: isTurned ? widthPx : heightPx,
    };
  } catch (thrown) {
    if (thrown instanceof NightError) throw thrown;
    throw new NightError(
      "image.unreadable",
      `the image cannot be read (${reasonOf(thrown)})`,
      { bytes: jpeg.byteLength },
      { cause: thrown },
    );
  }
}

/** For anything but a JPEG, which says it itself much faster. */
async function askDecoder(bytes: Uint8Array): Promise<Omit<JpegHeader, "isProgressive">> {
  const { width, height, orientation = 1 } = await openImage(bytes, {}).metadata();
  return { widthPx: width, heightPx: height, orientation };
}

/** The smallest of the decoder's own factors that brings the width down to the wanted one. */
function shrinkFactor(widthPx: number, widthPxMax: number): number {
  return [1, 2, 4].find((factor) => widthPx / factor <= widthPxMax) ?? 8;
}

function threeChannels(data: Uint8Array, channels: number): Uint8Array {
  const count = data.length / channels;
  const rgb = new Uint8Array(count * 3);
  for (let pixel = 0; pixel < count; pixel += 1) {
    for (let channel = 0; channel < 3; channel += 1) {
      rgb[pixel * 3 + channel] = data[pixel * channels + (channels >= 3 ? channel : 0)]!;
    }
  }
  return rgb;
}

/** The decoder's first line, without its prefixes. */
function reasonOf(thrown: unknown): string {
  const text = thrown instanceof Error ? thrown.message : String(thrown);
  const line = text.split("\n").filter(Boolean).at(-1) ?? "no image data";
  return line.replace(/^(VipsJpeg|vips\w*): /, "").trim();
}

async function encodeThumbnail(pixels: DecodedPixels, widthPx: number): Promise<Uint8Array> {
  const raw = { width: pixels.widthPx, height: pixels.heightPx, channels: 3 as const };
  return await sharp(pixels.rgb, { raw })
    .resize({ width: widthPx, withoutEnlargement: true, kernel: "linear" })
    .jpeg({ quality: 78 })
    .toBuffer();
}

/** The keogram's slice: the middle hundredth of the frame, at least one column, averaged per row. */
function middleColumn({ widthPx, heightPx, rgb }: DecodedPixels): Uint8Array {
  const columns = Math.max(1, Math.round(widthPx / 100));
  const first = Math.floor((widthPx - columns) / 2);
  const column = new Uint8Array(heightPx * 3);
  for (let row = 0; row < heightPx; row += 1) {
    for (let channel = 0; channel < 3; channel += 1) {
      let sum = 0;
      for (let x = first; x < first + columns; x += 1)
        sum += rgb[(row * widthPx + x) * 3 + channel]!;
      column[row * 3 + channel] = Math.round(sum / columns);
    }
  }
  return column;
}
