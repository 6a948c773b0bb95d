import { NightError } from "../errors.ts";
import { wellFormedText } from "./text.ts";

/** A cursor over bytes that checks every step; integers are little endian. */
export type Reader = {
  offset(): number;
  remaining(): number;
  u8(): number;
  i8(): number;
  u16(): number;
  i16(): number;
  u32(): number;
  i32(): number;
  u64(): bigint;
  i64(): bigint;
  u128(): bigint;
  i128(): bigint;
  /** A view of the next `count` bytes, not a copy. */
  bytes(count: number): Uint8Array;
  /** A counted string: `u8 n`, then n UTF-16 units, the terminating NUL among them. */
  string(): string;
  /** An uncounted string, read up to and including its NUL; without a NUL, to the end. */
  terminatedString(): string;
  /** @throws NightError `ptp.trailing_bytes` unless everything has been read. */
  end(): void;
};

/**
 * A reader over `bytes`. No read passes the end and nothing is allocated from a length on the
 * wire before the bytes are known to be there.
 *
 * Strings are read leniently: a missing NUL is accepted, text ends at the first NUL, unpaired
 * surrogates become U+FFFD.
 *
 * @param what  Names the thing being read, for the error's sentence.
 * @throws NightError `ptp.truncated` from any read that needs more bytes than remain.
 * Source: little endian and unpadded, MTP 1.1 §3.2; strings §3.2.3.
 */
export function createReader(bytes: Uint8Array, what = "a dataset"): Reader {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  let position = 0;

  const take = (count: number): number => {
    const remainingBytes = bytes.byteLength - position;
    if (count > remainingBytes) {
      const facts = { offset: position, neededBytes: count, remainingBytes };
      throw new NightError("ptp.truncated", `${what} ends in the middle of a field`, facts);
    }
    const start = position;
    position += count;
    return start;
  };
  const u64 = (): bigint => view.getBigUint64(take(8), true);
  const text = (unitCount: number): string => textAt(view, take(unitCount * 2), unitCount);

  return {
    offset: () => position,
    remaining: () => bytes.byteLength - position,
    u8: () => view.getUint8(take(1)),
    i8: () => view.getInt8(take(1)),
    u16: () => view.getUint16(take(2), true),
    i16: () => view.getInt16(take(2), true),
    u32: () => view.getUint32(take(4), true),
    i32: () => view.getInt32(take(4), true),
    u64,
    i64: () => view.getBigInt64(take(8), true),
    u128: () => u64() | (u64() << 64n),
    i128: () => BigInt.asIntN(128, u64() | (u64() << 64n)),
    bytes: (count) => {
      const start = take(count);
      return bytes.subarray(start, start + count);
    },
    string: () => text(view.getUint8(take(1))),
    terminatedString: () => {
      const unitsLeft = Math.floor((bytes.byteLength - position) / 2);
      let unitCount = 0;
      while (unitCount < unitsLeft && view.getUint16(position + unitCount * 2, true) !== 0) {
        unitCount += 1;
      }
      return text(Math.min(unitCount + 1, unitsLeft));
    },
    end: () => {
      if (position < bytes.byteLength) {
        throw new NightError("ptp.trailing_bytes", `${what} is longer than its definition`, {
          offset: position,
          trailingBytes: bytes.byteLength - position,
        });
      }
    },
  };
}

/** UTF-16 units up to the first NUL. */
function textAt(view: DataView, start: number, unitCount: number): string {
  let text = "";
  for (let index = 0; index < unitCount; index += 1) {
    const unit = view.getUint16(start + index * 2, true);
    if (unit === 0) break;
    text += String.fromCharCode(unit);
  }
  return wellFormedText(text);
}
