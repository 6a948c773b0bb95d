import { exifBlockWithThumbnail, type ExifFacts } from "./exif.ts";

// A HEIF file as far as anybody looks who cannot decode it: a picture item of noise and an Exif item
// whose TIFF carries a JPEG thumbnail. Source: ISO/IEC 14496-12 (boxes), ISO/IEC 23008-12, annex A.

export function heifFile(facts: ExifFacts, thumbnail: Buffer, pictureBytes: number): Buffer {
  const exif = Buffer.concat([Buffer.alloc(4), exifBlockWithThumbnail(facts, thumbnail)]);
  const picture = Buffer.alloc(pictureBytes, 0x5a);
  const type = box("ftyp", Buffer.from("heic\0\0\0\0mif1heic", "latin1"));
  const measured = meta(0, picture.length, exif.length);
  const dataAt = type.length + measured.length + 8;
  return Buffer.concat([
    type,
    meta(dataAt, picture.length, exif.length),
    box("mdat", Buffer.concat([picture, exif])),
  ]);
}

function meta(dataAt: number, pictureBytes: number, exifBytes: number): Buffer {
  const handler = fullBox(
    "hdlr",
    0,
    Buffer.from("\0\0\0\0pict\0\0\0\0\0\0\0\0\0\0\0\0\0", "latin1"),
  );
  const primary = fullBox("pitm", 0, u16(1));
  const items = [item(1, "hvc1"), item(2, "Exif")];
  const information = fullBox("iinf", 0, Buffer.concat([u16(items.length), ...items]));
  const places = Buffer.concat([
    // Offset and length of four bytes, no base offset; two items of one extent each.
    Buffer.from([0x44, 0x00]),
    u16(2),
    place(1, dataAt, pictureBytes),
    place(2, dataAt + pictureBytes, exifBytes),
  ]);
  const content = [handler, primary, information, fullBox("iloc", 0, places)];
  return fullBox("meta", 0, Buffer.concat(content));
}

function item(id: number, type: string): Buffer {
  return fullBox("infe", 2, Buffer.concat([u16(id), u16(0), Buffer.from(`${type}\0`, "latin1")]));
}

function place(id: number, at: number, length: number): Buffer {
  return Buffer.concat([u16(id), u16(0), u16(1), u32(at), u32(length)]);
}

function fullBox(type: string, version: number, content: Buffer): Buffer {
  return box(type, Buffer.concat([Buffer.from([version, 0, 0, 0]), content]));
}

function box(type: string, content: Buffer): Buffer {
  return Buffer.concat([u32(content.length + 8), Buffer.from(type, "latin1"), content]);
}

function u16(value: number): Buffer {
  const bytes = Buffer.alloc(2);
  bytes.writeUInt16BE(value);
  return bytes;
}

function u32(value: number): Buffer {
  const bytes = Buffer.alloc(4);
  bytes.writeUInt32BE(value);
  return bytes;
}
