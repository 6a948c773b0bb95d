/**
 * A small colour profile of the Adobe RGB (1998) space, made from its published numbers: primaries
 * adapted to D50, white point D65, gamma 563 / 256. Layout by ICC.1:2001 (version 2 matrix profile).
 */
export function adobeRgbProfile(): Buffer {
  const tags: [string, Buffer][] = [
    ["desc", description("Adobe RGB, made for a test")],
    ["cprt", text("public domain")],
    ["wtpt", xyz(0.9505, 1, 1.0891)],
    ["rXYZ", xyz(0.60974, 0.31111, 0.01947)],
    ["gXYZ", xyz(0.20528, 0.62567, 0.06087)],
    ["bXYZ", xyz(0.14919, 0.06322, 0.74457)],
    ["rTRC", gamma(563)],
    ["gTRC", gamma(563)],
    ["bTRC", gamma(563)],
  ];
  const table = Buffer.alloc(4 + 12 * tags.length);
  table.writeUInt32BE(tags.length, 0);
  let offset = 128 + table.length;
  for (const [index, [name, data]] of tags.entries()) {
    table.write(name, 4 + 12 * index, "ascii");
    table.writeUInt32BE(offset, 8 + 12 * index);
    table.writeUInt32BE(data.length, 12 + 12 * index);
    offset += data.length;
  }
  return Buffer.concat([header(offset), table, ...tags.map(([, data]) => data)]);
}

function header(size: number): Buffer {
  const bytes = Buffer.alloc(128);
  bytes.writeUInt32BE(size, 0);
  bytes.writeUInt32BE(0x02100000, 8);
  bytes.write("mntrRGB XYZ ", 12, "ascii");
  bytes.write("acsp", 36, "ascii");
  // The profile connection space's white, D50.
  xyz(0.9642, 1, 0.8249).copy(bytes, 68, 8);
  return bytes;
}

function xyz(x: number, y: number, z: number): Buffer {
  const bytes = Buffer.alloc(20);
  bytes.write("XYZ ", 0, "ascii");
  for (const [index, value] of [x, y, z].entries()) {
    bytes.writeInt32BE(Math.round(value * 65536), 8 + 4 * index);
  }
  return bytes;
}

/** A pure power as a curve of one entry, in 256ths. */
function gamma(in256ths: number): Buffer {
  const bytes = Buffer.alloc(16);
  bytes.write("curv", 0, "ascii");
  bytes.writeUInt32BE(1, 8);
  bytes.writeUInt16BE(in256ths, 12);
  return bytes;
}

function text(words: string): Buffer {
  return padded(Buffer.concat([Buffer.from("text\0\0\0\0", "ascii"), Buffer.from(`${words}\0`)]));
}

function description(words: string): Buffer {
  const length = Buffer.alloc(4);
  length.writeUInt32BE(words.length + 1);
  const ascii = Buffer.from(`${words}\0`, "ascii");
  // No Unicode and no script form: 4 + 4 + 2 + 1 + 67 bytes of nothing.
  return padded(
    Buffer.concat([Buffer.from("desc\0\0\0\0", "ascii"), length, ascii, Buffer.alloc(78)]),
  );
}

function padded(bytes: Buffer): Buffer {
  return Buffer.concat([bytes, Buffer.alloc((4 - (bytes.length % 4)) % 4)]);
}
