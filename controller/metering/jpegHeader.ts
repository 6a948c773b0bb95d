/** What a JPEG says of itself before its pixels begin. */
export type JpegHeader = {
  readonly widthPx: number;
  readonly heightPx: number;
  /** Exif orientation 1..8; from 5 on the image is turned by a quarter. */
  readonly orientation: number;
  /** Its pixels come in several passes over the whole picture. */
  readonly isProgressive: boolean;
};

const START_OF_SCAN = 0xda;
const EXIF_SEGMENT = 0xe1;
/** SOF2, SOF6, SOF10 and SOF14. */
const PROGRESSIVE = [0xc2, 0xc6, 0xca, 0xce];

/**
 * Size and orientation of a JPEG, read from its markers in a few microseconds; asking the decoder
 * for them would cost a small preview a third of its decoding time.
 *
 * @returns null when it is no JPEG or ends before its frame header.
 * Source: ITU-T T.81 (markers), Exif 2.3 tag 0x0112.
 */
export function readJpegHeader(jpeg: Uint8Array): JpegHeader | null {
  if (jpeg[0] !== 0xff || jpeg[1] !== 0xd8) return null;
  const view = new DataView(jpeg.buffer, jpeg.byteOffset, jpeg.byteLength);
  let orientation = 1;
  let at = 2;
  while (at + 9 < jpeg.byteLength) {
    if (jpeg[at] !== 0xff) return null;
    const marker = jpeg[at + 1]!;
    if (marker === 0xff) {
      at += 1; // fill byte
      continue;
    }
    if (marker === START_OF_SCAN) return null;
    const length = view.getUint16(at + 2);
    if (isFrameHeader(marker)) {
      const [heightPx, widthPx] = [view.getUint16(at + 5), view.getUint16(at + 7)];
      return { heightPx, widthPx, orientation, isProgressive: PROGRESSIVE.includes(marker) };
    }
    if (marker === EXIF_SEGMENT) {
      const end = Math.min(at + 2 + length, jpeg.byteLength);
      orientation = readOrientation(view, at + 4, end) ?? orientation;
    }
    at += 2 + length;
  }
  return null;
}

/** SOF0 to SOF15 without the Huffman (C4), JPEG extension (C8) and arithmetic (CC) tables. */
function isFrameHeader(marker: number): boolean {
  return marker >= 0xc0 && marker <= 0xcf && ![0xc4, 0xc8, 0xcc].includes(marker);
}

function readOrientation(view: DataView, start: number, end: number): number | null {
  const tiff = start + 6;
  if (tiff + 8 > end || view.getUint32(start) !== 0x45786966) return null; // "Exif"
  const isLittle = view.getUint16(tiff) === 0x4949;
  const directory = tiff + view.getUint32(tiff + 4, isLittle);
  if (directory + 2 > end) return null;
  const count = view.getUint16(directory, isLittle);
  for (let index = 0; index < count; index += 1) {
    const entry = directory + 2 + index * 12;
    if (entry + 12 > end) return null;
    if (view.getUint16(entry, isLittle) !== 0x0112) continue;
    const value = view.getUint16(entry + 8, isLittle);
    return value >= 1 && value <= 8 ? value : null;
  }
  return null;
}
