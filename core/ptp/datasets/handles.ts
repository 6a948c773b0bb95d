import { arrayOf, uint32 } from "../dataTypes.ts";
import { createReader } from "../reader.ts";
import { createWriter } from "../writer.ts";

const list = arrayOf(uint32);

/**
 * Reads the bare list of 32-bit numbers that GetStorageIDs and GetObjectHandles answer.
 * @throws NightError `ptp.truncated`. Bytes after the list are ignored.
 * Source: MTP 1.1 D.2.4, D.2.7.
 */
export function decodeHandles(bytes: Uint8Array): readonly number[] {
  return list.read(createReader(bytes, "a list of handles"));
}

/** Writes such a list. @throws NightError `quantity.out_of_range`. */
export function encodeHandles(handles: readonly number[]): Uint8Array {
  const writer = createWriter();
  list.write(writer, handles);
  return writer.toBytes();
}
