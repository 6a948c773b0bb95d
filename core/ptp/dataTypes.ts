import { NightError } from "../errors.ts";
import type { Reader } from "./reader.ts";
import type { Writer } from "./writer.ts";

/** Any value that a data type can carry. 64 and 128 bits are bigint, smaller integers number. */
export type PtpValue = number | bigint | string | readonly (number | bigint)[];

/** One data type of the protocol: its code and how its values lie on the wire. */
export type DataType<T extends PtpValue = PtpValue> = {
  readonly code: number;
  readonly name: string;
  /** Fewest bytes that a value takes. */
  readonly bytesMin: number;
  /** What stands for a value that the sender left out. */
  readonly empty: T;
  /** @throws NightError `ptp.truncated` when the bytes run out. */
  read(reader: Reader): T;
  /** @throws NightError `quantity.out_of_range` when the value does not fit. */
  write(writer: Writer, value: T): void;
};

/** The value of a data type. */
export type ValueOf<D> = D extends DataType<infer T> ? T : never;

// Codes and layouts below: MTP 1.1 §3.2.1 to §3.2.3.
/** Signed 8 bits. */
export const int8: DataType<number> = {
  code: 0x0001,
  name: "INT8",
  bytesMin: 1,
  empty: 0,
  read: (reader) => reader.i8(),
  write: (writer, value) => writer.i8(value),
};
/** Unsigned 8 bits. */
export const uint8: DataType<number> = {
  code: 0x0002,
  name: "UINT8",
  bytesMin: 1,
  empty: 0,
  read: (reader) => reader.u8(),
  write: (writer, value) => writer.u8(value),
};
/** Signed 16 bits. */
export const int16: DataType<number> = {
  code: 0x0003,
  name: "INT16",
  bytesMin: 2,
  empty: 0,
  read: (reader) => reader.i16(),
  write: (writer, value) => writer.i16(value),
};
/** Unsigned 16 bits. */
export const uint16: DataType<number> = {
  code: 0x0004,
  name: "UINT16",
  bytesMin: 2,
  empty: 0,
  read: (reader) => reader.u16(),
  write: (writer, value) => writer.u16(value),
};
/** Signed 32 bits. */
export const int32: DataType<number> = {
  code: 0x0005,
  name: "INT32",
  bytesMin: 4,
  empty: 0,
  read: (reader) => reader.i32(),
  write: (writer, value) => writer.i32(value),
};
/** Unsigned 32 bits. */
export const uint32: DataType<number> = {
  code: 0x0006,
  name: "UINT32",
  bytesMin: 4,
  empty: 0,
  read: (reader) => reader.u32(),
  write: (writer, value) => writer.u32(value),
};
/** Signed 64 bits, as bigint. */
export const int64: DataType<bigint> = {
  code: 0x0007,
  name: "INT64",
  bytesMin: 8,
  empty: 0n,
  read: (reader) => reader.i64(),
  write: (writer, value) => writer.i64(value),
};
/** Unsigned 64 bits, as bigint. */
export const uint64: DataType<bigint> = {
  code: 0x0008,
  name: "UINT64",
  bytesMin: 8,
  empty: 0n,
  read: (reader) => reader.u64(),
  write: (writer, value) => writer.u64(value),
};
/** 128 bits, least significant word first: follows from little endian, no source spells it out. */
export const int128: DataType<bigint> = {
  code: 0x0009,
  name: "INT128",
  bytesMin: 16,
  empty: 0n,
  read: (reader) => reader.i128(),
  write: (writer, value) => writer.i128(value),
};
/** Unsigned 128 bits, as bigint; word order as for INT128. */
export const uint128: DataType<bigint> = {
  code: 0x000a,
  name: "UINT128",
  bytesMin: 16,
  empty: 0n,
  read: (reader) => reader.u128(),
  write: (writer, value) => writer.u128(value),
};
/** Text of at most 254 UTF-16 units; see the reader and the writer for what is tolerated. */
export const string: DataType<string> = {
  code: 0xffff,
  name: "STRING",
  bytesMin: 1,
  empty: "",
  read: (reader) => reader.string(),
  write: (writer, value) => writer.string(value),
};

/**
 * An array of `element`: `u32 count`, then the elements; its code is 0x4000 | the element's.
 *
 * The count is compared with the bytes that are there before anything is allocated.
 * Source: MTP 1.1 §3.2.2.
 */
export function arrayOf<T extends number | bigint>(element: DataType<T>): DataType<readonly T[]> {
  return {
    code: 0x4000 | element.code,
    name: `array of ${element.name}`,
    bytesMin: 4,
    empty: [],
    read: (reader) => {
      const count = reader.u32();
      if (count * element.bytesMin > reader.remaining()) {
        throw new NightError("ptp.truncated", `an array of ${count} does not fit its dataset`, {
          count,
          remainingBytes: reader.remaining(),
        });
      }
      return Array.from({ length: count }, () => element.read(reader));
    },
    write: (writer, values) => {
      writer.u32(values.length);
      for (const value of values) element.write(writer, value);
    },
  };
}

const NUMBERS = [int8, uint8, int16, uint16, int32, uint32];
const BIG_NUMBERS = [int64, uint64, int128, uint128];

const BY_CODE: ReadonlyMap<number, DataType> = new Map(
  (
    [
      ...NUMBERS,
      ...BIG_NUMBERS,
      string,
      ...NUMBERS.map((element) => arrayOf(element)),
      ...BIG_NUMBERS.map((element) => arrayOf(element)),
    ] as DataType[]
  ).map((type) => [type.code, type]),
);

/** The data type with this code; null when it is unknown, for then its length is unknown too. */
export function dataTypeOf(code: number): DataType | null {
  return BY_CODE.get(code) ?? null;
}
