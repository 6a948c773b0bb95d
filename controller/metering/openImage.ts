import sharp, { type Sharp, type SharpOptions } from "sharp";
import { NightError } from "../../core/errors.ts";
import { readJpegHeader } from "../../core/metadata/jpegHeader.ts";
import { startsAsJpeg } from "../../core/metadata/jpegMarkers.ts";

/** No picture may take more memory than this while it is decoded. */
const DECODE_BYTES_MAX = 300_000_000;
/** A progressive JPEG is held as coefficients, whole: two bytes for each of three components. Source: ITU-T T.81, annex G. */
const COEFFICIENT_BYTES = 6;
const RGB_BYTES = 3;
/** Deepest pixel of the other formats: three components of 16 bits. */
const PIXEL_BYTES_MAX = 6;

/** How files begin that cameras, and what prepares their pictures, make; HEIF says so after its length. */
const BEGINNINGS: readonly { readonly at: number; readonly bytes: readonly number[] }[] = [
  { at: 0, bytes: [0x89, 0x50, 0x4e, 0x47] }, // PNG
  { at: 0, bytes: [0x49, 0x49, 0x2a, 0x00] }, // TIFF, little-endian
  { at: 0, bytes: [0x4d, 0x4d, 0x00, 0x2a] }, // TIFF, big-endian
  { at: 4, bytes: [0x66, 0x74, 0x79, 0x70] }, // HEIF
];

/**
 * A picture ready to be decoded: the one way in for bytes that a camera or a file sent. Formats that
 * no camera makes are refused (an SVG is a program more than a picture), and so is what would need
 * more memory than a picture may, by the size that its header declares.
 *
 * @param shrink  Factor by which the decoder makes it smaller while loading, where it can: 1, 2, 4 or 8.
 * @throws NightError `image.unreadable` with what is wrong.
 */
export function openImage(bytes: Uint8Array, options: SharpOptions, shrink = 1): Sharp {
  if (startsAsJpeg(bytes)) {
    const header = readJpegHeader(bytes);
    if (header === null) throw refused("it ends before its picture begins", bytes);
    const { widthPx, heightPx, isProgressive } = header;
    const pixelBytes = isProgressive ? COEFFICIENT_BYTES : RGB_BYTES / shrink ** 2;
    if (widthPx * heightPx * pixelBytes > DECODE_BYTES_MAX) {
      throw refused(`it says that it is ${widthPx} × ${heightPx} pixels`, bytes);
    }
    return sharp(bytes, { ...options, limitInputPixels: DECODE_BYTES_MAX });
  }
  const isKnown = BEGINNINGS.some((beginning) =>
    beginning.bytes.every((byte, index) => bytes[beginning.at + index] === byte),
  );
  if (!isKnown) throw refused("it is of no kind that cameras make", bytes);
  return sharp(bytes, {
    ...options,
    limitInputPixels: Math.floor(DECODE_BYTES_MAX / PIXEL_BYTES_MAX),
  });
}

function refused(why: string, bytes: Uint8Array): NightError {
  return new NightError("image.unreadable", `the image cannot be read (${why})`, {
    bytes: bytes.byteLength,
  });
}
