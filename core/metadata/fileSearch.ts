/** A stretch of a file. */
export type ByteRange = { readonly offset: number; readonly bytes: number };

/**
 * A search that asks for stretches of a file and ends with the answer. Each yielded range is
 * answered with its bytes; an answer shorter than asked means that the file ends there.
 */
export type FileSearch<T> = Generator<ByteRange, T, Uint8Array>;

/** A file of which stretches can be asked for; an answer is shorter where the file ends. */
export type SearchedFile = {
  readonly fileBytes: number;
  read(offset: number, bytes: number): FileSearch<Uint8Array>;
};

/** Runs a search over a file that is here as a whole. */
export function searchBytes<T>(file: Uint8Array, search: FileSearch<T>): T {
  let step = search.next();
  while (step.done !== true) step = search.next(stretchOf(file, step.value));
  return step.value;
}

export function stretchOf(file: Uint8Array, { offset, bytes }: ByteRange): Uint8Array {
  return file.subarray(offset, offset + bytes);
}

/** A file that is here as a whole, for what reads from a searched one. */
export function wholeFile(file: Uint8Array): SearchedFile {
  return {
    fileBytes: file.byteLength,
    *read(offset, bytes) {
      return yield { offset, bytes };
    },
  };
}

/** An unsigned number of `size` bytes; bytes that are not there count as 0. */
export function uint(
  bytes: Uint8Array,
  at: number,
  size: number,
  { isLittleEndian }: { readonly isLittleEndian: boolean },
): number {
  let value = 0;
  for (let index = 0; index < size; index += 1) {
    value = value * 256 + (bytes[at + (isLittleEndian ? size - 1 - index : index)] ?? 0);
  }
  return value;
}
