/** A directory entry: tag, type (3 SHORT, 4 LONG, 7 UNDEFINED), count, and value or offset. */
export type TiffEntry = readonly [tag: number, type: number, count: number, value: number];

/** Writes a directory: count, entries in order, offset of the next one. */
export function tiffDirectory(
  entries: readonly TiffEntry[],
  next: number,
  isLittleEndian: boolean,
): Uint8Array {
  const bytes = new Uint8Array(2 + entries.length * 12 + 4);
  const view = new DataView(bytes.buffer);
  view.setUint16(0, entries.length, isLittleEndian);
  for (const [index, [tag, type, count, value]] of entries.entries()) {
    const at = 2 + index * 12;
    view.setUint16(at, tag, isLittleEndian);
    view.setUint16(at + 2, type, isLittleEndian);
    view.setUint32(at + 4, count, isLittleEndian);
    if (type === 3 && count === 1) view.setUint16(at + 8, value, isLittleEndian);
    else view.setUint32(at + 8, value, isLittleEndian);
  }
  view.setUint32(2 + entries.length * 12, next, isLittleEndian);
  return bytes;
}

/** A file with a TIFF header, and parts at given offsets. */
export function tiffFile(
  parts: readonly (readonly [offset: number, bytes: Uint8Array])[],
  options: { readonly firstDirectory: number; readonly isLittleEndian: boolean },
): Uint8Array {
  const { firstDirectory, isLittleEndian } = options;
  const end = Math.max(8, ...parts.map(([offset, bytes]) => offset + bytes.length));
  const file = new Uint8Array(end);
  const view = new DataView(file.buffer);
  file.fill(isLittleEndian ? 0x49 : 0x4d, 0, 2);
  view.setUint16(2, 42, isLittleEndian);
  view.setUint32(4, firstDirectory, isLittleEndian);
  for (const [offset, bytes] of parts) file.set(bytes, offset);
  return file;
}

/**
 * A JPEG's beginning and end: SOI, an application segment of some length, the start-of-frame with
 * its size, and EOI at the very end.
 *
 * @param marker  0xc0 baseline, 0xc2 progressive, 0xc3 lossless.
 */
export function jpegSkeleton(options: {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly bytes: number;
  readonly marker?: number;
  readonly applicationBytes?: number;
}): Uint8Array {
  const { widthPx, heightPx, bytes, marker = 0xc0, applicationBytes = 16 } = options;
  const jpeg = new Uint8Array(bytes);
  const view = new DataView(jpeg.buffer);
  jpeg.set([0xff, 0xd8, 0xff, 0xe1], 0);
  view.setUint16(4, applicationBytes);
  const at = 4 + applicationBytes;
  jpeg.set([0xff, marker, 0, 17, 8], at);
  view.setUint16(at + 5, heightPx);
  view.setUint16(at + 7, widthPx);
  jpeg.set([0xff, 0xd9], bytes - 2);
  return jpeg;
}
