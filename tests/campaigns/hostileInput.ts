import type { Random } from "../../core/random.ts";

/** Values of a length or count field that have broken readers before; common practice, no source. */
const EXTREMES = [0, 1, 0x7f, 0x80, 0xff, 0x7fff, 0xffff, 0x7fffffff, 0x80000000, 0xffffffff];

/** Longest input that is tried: beyond it only the transports' own limits count. */
const BYTES_MAX = 8192;

/** A damaged copy of valid bytes: one to four damages, each of a random kind. */
export function hostileBytes(valid: Uint8Array, random: Random): Uint8Array {
  let bytes = valid.slice(0, BYTES_MAX);
  const damages = 1 + random.integer(4);
  for (let n = 0; n < damages; n += 1) bytes = damageBytes(bytes, random).slice(0, BYTES_MAX);
  return bytes;
}

function damageBytes(bytes: Uint8Array, random: Random): Uint8Array {
  const at = random.integer(bytes.length + 1);
  switch (random.integer(7)) {
    case 0:
      return bytes.slice(0, at);
    case 1:
      return withByte(bytes, at, random.integer(256));
    case 2:
      return withExtreme(bytes, at, random);
    case 3: {
      const noise = Uint8Array.from({ length: random.integer(64) }, () => random.integer(256));
      return joined(bytes.subarray(0, at), noise, bytes.subarray(at));
    }
    case 4: {
      const end = at + random.integer(bytes.length - at + 1);
      return joined(bytes.subarray(0, end), bytes.subarray(at, end), bytes.subarray(end));
    }
    case 5: {
      const end = at + random.integer(bytes.length - at + 1);
      return joined(bytes.subarray(0, at), bytes.subarray(end));
    }
    default:
      return Uint8Array.from({ length: random.integer(256) }, () => random.integer(256));
  }
}

function withByte(bytes: Uint8Array, at: number, value: number): Uint8Array {
  const copy = bytes.slice();
  if (at < copy.length) copy[at] = value;
  return copy;
}

/** Overwrites two, four or eight bytes with a number that no length should have. */
function withExtreme(bytes: Uint8Array, at: number, random: Random): Uint8Array {
  const copy = bytes.slice();
  const width = [2, 4, 8][random.integer(3)]!;
  const value = EXTREMES[random.integer(EXTREMES.length)]!;
  const isLittleEndian = random.integer(4) > 0;
  for (let n = 0; n < width && at + n < copy.length; n += 1) {
    const digit = isLittleEndian ? n : width - 1 - n;
    copy[at + n] = digit < 4 ? (value >>> (8 * digit)) & 0xff : 0;
  }
  return copy;
}

function joined(...parts: readonly Uint8Array[]): Uint8Array {
  return Uint8Array.from(Buffer.concat(parts));
}

/** Pieces of text that have broken readers before; common practice, no source. */
const TEXTS = [
  ...["", "\0", "\r\n", ",", "=", ";", '"', "-", "+", ".", "e", "NaN", "Infinity", "-0", "1e999"],
  ...["0x10", "99999999999999999999", "-1", "0.0000000001", "\u2028", "\ud800", "İ", "💥", "%00"],
  ...["__proto__", "constructor", "toString", "../../x", "2026-02-31", "24:60:61", "*", "$", "\t"],
];

/** A damaged copy of a valid text. */
export function hostileText(valid: string, random: Random): string {
  let text = valid;
  const damages = 1 + random.integer(4);
  for (let n = 0; n < damages; n += 1) {
    const at = random.integer(text.length + 1);
    const end = Math.min(text.length, at + random.integer(8));
    const piece = TEXTS[random.integer(TEXTS.length)]!;
    switch (random.integer(5)) {
      case 0:
        text = text.slice(0, at);
        break;
      case 1:
        text = text.slice(0, at) + piece + text.slice(end);
        break;
      case 2:
        text = text.slice(0, at) + piece.repeat(1 + random.integer(200)) + text.slice(at);
        break;
      case 3:
        text = text.slice(0, end) + text.slice(at);
        break;
      default:
        text = text.slice(0, at) + String.fromCharCode(random.integer(0x10000)) + text.slice(at);
    }
    text = text.slice(0, BYTES_MAX);
  }
  return text;
}

/** A damaged copy of valid JSON: values replaced, keys left out, doubled or nested. */
export function hostileJson(valid: unknown, random: Random): unknown {
  if (random.integer(6) === 0) return strangeValue(random);
  if (Array.isArray(valid)) {
    const items = valid.map((item: unknown) =>
      random.integer(3) === 0 ? hostileJson(item, random) : item,
    );
    return random.integer(4) === 0 ? [...items, strangeValue(random)] : items;
  }
  if (typeof valid === "object" && valid !== null) {
    const entries = Object.entries(valid).flatMap(([key, value]): [string, unknown][] => {
      switch (random.integer(6)) {
        case 0:
          return [];
        case 1:
          return [[key, strangeValue(random)]];
        case 2:
          return [[key, hostileJson(value, random)]];
        default:
          return [[key, value]];
      }
    });
    if (random.integer(5) === 0) {
      entries.push([TEXTS[random.integer(TEXTS.length)]!, strangeValue(random)]);
    }
    // Built from text, so that "__proto__" becomes a key of its own as it does on the wire.
    return JSON.parse(
      `{${entries.map(([key, value]) => `${JSON.stringify(key)}:${jsonOf(value)}`).join(",")}}`,
    );
  }
  return strangeValue(random);
}

function jsonOf(value: unknown): string {
  return JSON.stringify(value) ?? "null";
}

function strangeValue(random: Random): unknown {
  switch (random.integer(9)) {
    case 0:
      return null;
    case 1:
      return random.integer(2) === 0;
    case 2:
      return EXTREMES[random.integer(EXTREMES.length)]! * (random.integer(2) === 0 ? -1 : 1);
    case 3:
      return [1e308, -1e308, 5e-324, 0.1, -0, 2 ** 53][random.integer(6)];
    case 4:
      return TEXTS[random.integer(TEXTS.length)];
    case 5:
      return "9".repeat(random.integer(3000));
    case 6:
      return Array.from({ length: random.integer(50) }, () => random.integer(100));
    case 7:
      return nested(random.integer(200));
    default:
      return {};
  }
}

function nested(depth: number): unknown {
  let value: unknown = 1;
  for (let n = 0; n < depth; n += 1) value = n % 2 === 0 ? [value] : { a: value };
  return value;
}
