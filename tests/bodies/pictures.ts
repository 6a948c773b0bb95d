import sharp from "sharp";
import { exifBlock, type ExifFacts } from "./exif.ts";

// Pictures of a plain twilight: brightness follows luminance, exposure and ISO, so that a meter has
// something to hold on to. Source: ISO 2720 / ISO 12232, q = 0.65, mid-grey at H = 10 / S, displayed
// as 18 % through the curve of sRGB (IEC 61966-2-1).
const Q = 0.65;
const MID_GREY = 0.18;
/** The zenith is darker than the horizon by this much; no source, a picture that is not flat. */
const GRADIENT_STOPS = 0.6;
const SEED_PX = { width: 96, height: 64 };

export type Exposure = {
  readonly seconds: number;
  readonly iso: number;
  readonly fNumber: number;
  readonly luminanceCdM2: number;
};

const made = new Map<string, Promise<Buffer>>();

/** A JPEG of that many pixels across, without Exif. Equal ones are encoded once. */
export function jpegOf(exposure: Exposure, widthPx: number): Promise<Buffer> {
  const { seconds, iso, fNumber, luminanceCdM2 } = exposure;
  const luxSeconds = (Q / fNumber ** 2) * luminanceCdM2 * seconds;
  const stops = Math.round(Math.log2((luxSeconds * iso) / 10) * 20) / 20;
  const key = `${widthPx} ${stops}`;
  let picture = made.get(key);
  if (!picture) {
    picture = encode(stops, widthPx);
    made.set(key, picture);
  }
  return picture;
}

function encode(stopsFromGrey: number, widthPx: number): Promise<Buffer> {
  const { width, height } = SEED_PX;
  const pixels = Buffer.alloc(width * height * 3);
  for (let y = 0; y < height; y++) {
    const stops = stopsFromGrey + GRADIENT_STOPS * (y / (height - 1) - 0.5);
    const grey = Math.round(255 * shown(MID_GREY * 2 ** stops));
    pixels.fill(grey, y * width * 3, (y + 1) * width * 3);
  }
  return (
    sharp(pixels, { raw: { width, height, channels: 3 } })
      // The cheapest that sharp makes: two dozen megapixels take a fifth of a second, not more than one.
      .resize(widthPx, Math.round((widthPx * height) / width), { kernel: "nearest" })
      .jpeg({ quality: 85, optimizeCoding: false })
      .toBuffer()
  );
}

function shown(linear: number): number {
  const value = Math.min(1, Math.max(0, linear));
  return value <= 0.0031308 ? 12.92 * value : 1.055 * value ** (1 / 2.4) - 0.055;
}

/** The JPEG with an APP1 segment behind its first marker. Source: Exif 2.32, §4.7. */
export function withExif(jpeg: Buffer, facts: ExifFacts): Buffer {
  const block = Buffer.concat([Buffer.from("Exif\0\0", "latin1"), exifBlock(facts)]);
  const head = Buffer.from([0xff, 0xe1, 0, 0]);
  head.writeUInt16BE(block.length + 2, 2);
  return Buffer.concat([jpeg.subarray(0, 2), head, block, jpeg.subarray(2)]);
}
