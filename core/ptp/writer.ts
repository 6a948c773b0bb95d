import { NightError } from "../errors.ts";
import { fitText, STRING_UNITS_MAX, wellFormedText } from "./text.ts";

/** Collects bytes; integers are little endian and must fit their field. */
export type Writer = {
  u8(value: number): void;
  i8(value: number): void;
  u16(value: number): void;
  i16(value: number): void;
  u32(value: number): void;
  i32(value: number): void;
  u64(value: bigint): void;
  i64(value: bigint): void;
  u128(value: bigint): void;
  i128(value: bigint): void;
  bytes(value: Uint8Array): void;
  /** A counted string; shortened to 254 code units, never within a surrogate pair. */
  string(value: string): void;
  /** An uncounted string with its NUL; shortened to `unitsMax` visible code units. */
  terminatedString(value: string, unitsMax: number): void;
  /** A copy of everything written so far. */
  toBytes(): Uint8Array;
};

/**
 * An empty writer.
 *
 * Writing is strict: an embedded NUL is refused, unpaired surrogates become U+FFFD.
 *
 * @throws NightError `quantity.out_of_range` from any write whose value does not fit its field.
 * Source: little endian and unpadded, MTP 1.1 §3.2; strings §3.2.3.
 */
export function createWriter(): Writer {
  let buffer = new Uint8Array(64);
  let view = new DataView(buffer.buffer);
  let length = 0;

  const grow = (count: number): number => {
    const start = length;
    length += count;
    if (length > buffer.byteLength) {
      const larger = new Uint8Array(Math.max(length, buffer.byteLength * 2));
      larger.set(buffer);
      buffer = larger;
      view = new DataView(buffer.buffer);
    }
    return start;
  };
  // `view` is looked up after `grow`, which may have replaced it.
  const put = (count: number, write: (at: number) => void): void => write(grow(count));
  const big = (value: bigint, bits: 64 | 128, sign: "signed" | "unsigned"): void => {
    checkBig(value, bits, sign === "signed");
    for (let shift = 0n; shift < BigInt(bits); shift += 64n) {
      put(8, (at) => view.setBigUint64(at, BigInt.asUintN(64, value >> shift), true));
    }
  };
  const units = (value: string): void => {
    checkText(value);
    for (let index = 0; index < value.length; index += 1) {
      put(2, (at) => view.setUint16(at, value.charCodeAt(index), true));
    }
    put(2, (at) => view.setUint16(at, 0, true));
  };

  return {
    u8: (value) => put(1, (at) => view.setUint8(at, checked(value, 0, 0xff, "UINT8"))),
    i8: (value) => put(1, (at) => view.setInt8(at, checked(value, -0x80, 0x7f, "INT8"))),
    u16: (value) => put(2, (at) => view.setUint16(at, checked(value, 0, 0xffff, "UINT16"), true)),
    i16: (value) =>
      put(2, (at) => view.setInt16(at, checked(value, -0x8000, 0x7fff, "INT16"), true)),
    u32: (value) =>
      put(4, (at) => view.setUint32(at, checked(value, 0, 0xffffffff, "UINT32"), true)),
    i32: (value) =>
      put(4, (at) => view.setInt32(at, checked(value, -(2 ** 31), 2 ** 31 - 1, "INT32"), true)),
    u64: (value) => big(value, 64, "unsigned"),
    i64: (value) => big(value, 64, "signed"),
    u128: (value) => big(value, 128, "unsigned"),
    i128: (value) => big(value, 128, "signed"),
    bytes: (value) => {
      const start = grow(value.byteLength);
      buffer.set(value, start);
    },
    string: (value) => {
      const text = fitText(wellFormedText(value), STRING_UNITS_MAX);
      const count = text === "" ? 0 : text.length + 1;
      put(1, (at) => view.setUint8(at, count));
      if (count > 0) units(text);
    },
    terminatedString: (value, unitsMax) => units(fitText(wellFormedText(value), unitsMax)),
    toBytes: () => buffer.slice(0, length),
  };
}

function checked(value: number, min: number, max: number, type: string): number {
  if (!Number.isInteger(value) || value < min || value > max) throw outOfRange(value, type);
  return value;
}

function checkBig(value: bigint, bits: 64 | 128, isSigned: boolean): void {
  const wrapped = isSigned ? BigInt.asIntN(bits, value) : BigInt.asUintN(bits, value);
  if (wrapped !== value) throw outOfRange(value, `${isSigned ? "INT" : "UINT"}${bits}`);
}

function checkText(value: string): void {
  if (!value.includes("\0")) return;
  throw new NightError("quantity.out_of_range", "a protocol string cannot contain NUL", { value });
}

function outOfRange(value: number | bigint, type: string): NightError {
  return new NightError("quantity.out_of_range", `${String(value)} does not fit ${type}`, {
    value: String(value),
  });
}
