import { uint, type ByteRange, type FileSearch, type SearchedFile } from "./fileSearch.ts";

/** A segment of a JPEG: where it stands and what it begins with. */
export type JpegSegment = ByteRange & {
  readonly marker: number;
  /** Marker, length and the five bytes behind them; fewer where the file ends. */
  readonly head: Uint8Array;
};

/** Where a JPEG lies in its file, and how many of its segments are looked at. */
type JpegStretch = ByteRange & { readonly segmentsMax: number };

const HEAD_BYTES = 9;
const FILL = 0xff;
/** Behind the start of scan lie entropy-coded bytes, in which a marker means nothing. */
const LAST = { startOfScan: 0xda, endOfImage: 0xd9 };

/** Whether bytes begin as a JPEG does. */
export function startsAsJpeg(bytes: Uint8Array): boolean {
  return bytes[0] === 0xff && bytes[1] === 0xd8;
}

/**
 * Walks the segments of a JPEG up to its first scan, until `look` answers.
 *
 * @param look  undefined: go on.
 * @returns what `look` answered; null: it never did, or this is no JPEG.
 * Source: ITU-T T.81, annex B.
 */
export function* walkJpeg<T>(
  file: SearchedFile,
  { offset, bytes, segmentsMax }: JpegStretch,
  look: (segment: JpegSegment) => T | undefined,
): FileSearch<T | null> {
  if (!startsAsJpeg(yield* file.read(offset, 2))) return null;
  let at = 2;
  for (let count = 0; count < segmentsMax && at + 4 <= bytes; count += 1) {
    const head = yield* file.read(offset + at, Math.min(HEAD_BYTES, bytes - at));
    if (head.length < 4 || head[0] !== 0xff) return null;
    const marker = head[1]!;
    if (marker === FILL) {
      at += 1;
      continue;
    }
    if (marker === LAST.startOfScan || marker === LAST.endOfImage) return null;
    const segmentBytes = 2 + uint(head, 2, 2, { isLittleEndian: false });
    const answer = look({ marker, head, offset: offset + at, bytes: segmentBytes });
    if (answer !== undefined) return answer;
    at += segmentBytes;
  }
  return null;
}

/** What a frame header says; undefined: this segment is none. */
export function frameHeaderOf({ marker, head }: JpegSegment): FrameHeader | undefined {
  if (!isFrameHeader(marker) || head.length < HEAD_BYTES) return undefined;
  const [heightPx, widthPx] = [5, 7].map((at) => uint(head, at, 2, { isLittleEndian: false }));
  return { marker, heightPx: heightPx!, widthPx: widthPx! };
}

type FrameHeader = {
  readonly marker: number;
  readonly widthPx: number;
  readonly heightPx: number;
};

/** SOF0 to SOF15 without the Huffman (C4), JPEG extension (C8) and arithmetic (CC) tables. */
function isFrameHeader(marker: number): boolean {
  return marker >= 0xc0 && marker <= 0xcf && ![0xc4, 0xc8, 0xcc].includes(marker);
}
