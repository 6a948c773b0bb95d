// A TIFF block with what a camera writes of an exposure. Source: Exif 2.32, §4.6; TIFF 6.0, §2.

/** What a file says of itself; null: it says nothing of it. */
export type ExifFacts = {
  readonly seconds: number | null;
  readonly iso: number | null;
  readonly fNumber: number | null;
  /** `YYYY:MM:DD HH:MM:SS`. */
  readonly takenAt: string | null;
};

const TYPE = { ascii: 2, short: 3, long: 4, rational: 5, undefined: 7 } as const;
const TAG = {
  compression: 0x0103,
  stripOffsets: 0x0111,
  stripByteCounts: 0x0117,
  jpegOffset: 0x0201,
  jpegLength: 0x0202,
  exposureTime: 0x829a,
  fNumber: 0x829d,
  exifIfd: 0x8769,
  iso: 0x8827,
  version: 0x9000,
  takenAt: 0x9003,
} as const;

type Entry = {
  readonly tag: number;
  readonly type: number;
  readonly count: number;
  readonly value: Buffer;
};

/** The Exif block of a JPEG. */
export function exifBlock(facts: ExifFacts): Buffer {
  return tiffBlock({ facts });
}

/**
 * A TIFF whose second directory holds a JPEG as its thumbnail: what the Exif item of a HEIF file
 * carries.
 */
export function exifBlockWithThumbnail(facts: ExifFacts, jpeg: Buffer): Buffer {
  return tiffBlock({ facts, jpeg: { bytes: jpeg, isThumbnail: true, padBytes: 0 } });
}

/** A raw file: a TIFF whose first directory points to a JPEG preview, then the sensor's noise. */
export function rawFile(facts: ExifFacts, preview: Buffer, sensorBytes: number): Buffer {
  const head = tiffBlock({ facts, jpeg: { bytes: preview, isThumbnail: false, padBytes: 4096 } });
  const sensor = Buffer.alloc(sensorBytes);
  for (let at = 0; at < sensorBytes; at++) sensor[at] = (at * 31) & 0x7f;
  return Buffer.concat([head, sensor]);
}

type Preview = { readonly bytes: Buffer; readonly isThumbnail: boolean; readonly padBytes: number };

function tiffBlock({
  facts,
  jpeg,
}: {
  readonly facts: ExifFacts;
  readonly jpeg?: Preview;
}): Buffer {
  const exif = exifEntries(facts);
  const firstAt = 8;
  const exifAt = firstAt + directoryBytes(jpeg && !jpeg.isThumbnail ? 5 : 1);
  const exifBytes = directory(exif, exifAt, 0);
  const secondAt = exifAt + exifBytes.length;
  const pointer = entry(TAG.exifIfd, TYPE.long, [long(exifAt)]);
  const head = Buffer.from([0x49, 0x49, 42, 0, firstAt, 0, 0, 0]);
  if (!jpeg) return Buffer.concat([head, directory([pointer], firstAt, 0), exifBytes]);
  const jpegAt = secondAt + jpeg.padBytes + (jpeg.isThumbnail ? directoryBytes(3) : 0);
  const place = [
    entry(TAG.jpegOffset, TYPE.long, [long(jpegAt)]),
    entry(TAG.jpegLength, TYPE.long, [long(jpeg.bytes.length)]),
  ];
  const compression = entry(TAG.compression, TYPE.short, [short(6)]);
  if (jpeg.isThumbnail) {
    return Buffer.concat([
      head,
      directory([pointer], firstAt, secondAt),
      exifBytes,
      directory([compression, ...place], secondAt, 0),
      jpeg.bytes,
    ]);
  }
  const strips = [
    entry(TAG.stripOffsets, TYPE.long, [long(jpegAt)]),
    entry(TAG.stripByteCounts, TYPE.long, [long(jpeg.bytes.length)]),
  ];
  return Buffer.concat([
    head,
    directory([compression, ...strips, ...place.slice(0, 1), pointer], firstAt, 0),
    exifBytes,
    Buffer.alloc(jpeg.padBytes),
    jpeg.bytes,
  ]);
}

function exifEntries({ seconds, iso, fNumber, takenAt }: ExifFacts): readonly Entry[] {
  const entries = [entry(TAG.version, TYPE.undefined, [Buffer.from("0232", "latin1")])];
  if (seconds !== null) entries.push(entry(TAG.exposureTime, TYPE.rational, [ratio(seconds)]));
  if (fNumber !== null) entries.push(entry(TAG.fNumber, TYPE.rational, [ratio(fNumber)]));
  if (iso !== null) entries.push(entry(TAG.iso, TYPE.short, [short(Math.min(iso, 65_535))]));
  if (takenAt !== null) {
    entries.push(entry(TAG.takenAt, TYPE.ascii, [Buffer.from(`${takenAt}\0`, "latin1")]));
  }
  return entries.sort((a, b) => a.tag - b.tag);
}

function directoryBytes(entries: number): number {
  return 2 + 12 * entries + 4;
}

/** A directory with the values that do not fit into its entries behind it. */
function directory(entries: readonly Entry[], at: number, next: number): Buffer {
  const head = Buffer.alloc(directoryBytes(entries.length));
  head.writeUInt16LE(entries.length, 0);
  const behind: Buffer[] = [];
  let behindAt = at + head.length;
  entries.forEach(({ tag, type, count, value }, index) => {
    const place = 2 + 12 * index;
    head.writeUInt16LE(tag, place);
    head.writeUInt16LE(type, place + 2);
    head.writeUInt32LE(count, place + 4);
    if (value.length <= 4) return void value.copy(head, place + 8);
    head.writeUInt32LE(behindAt, place + 8);
    const even = Buffer.concat([value, Buffer.alloc(value.length % 2)]);
    behind.push(even);
    behindAt += even.length;
  });
  head.writeUInt32LE(next, head.length - 4);
  return Buffer.concat([head, ...behind]);
}

function entry(tag: number, type: number, values: readonly Buffer[]): Entry {
  const value = Buffer.concat(values);
  const isBytes = type === TYPE.ascii || type === TYPE.undefined;
  return { tag, type, count: isBytes ? value.length : values.length, value };
}

function short(value: number): Buffer {
  const bytes = Buffer.alloc(2);
  bytes.writeUInt16LE(value);
  return bytes;
}

function long(value: number): Buffer {
  const bytes = Buffer.alloc(4);
  bytes.writeUInt32LE(value);
  return bytes;
}

function ratio(value: number): Buffer {
  return Buffer.concat([long(Math.round(value * 10_000)), long(10_000)]);
}
