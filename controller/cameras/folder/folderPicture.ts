import { open, type FileHandle } from "node:fs/promises";
import { type ByteRange, type FileSearch } from "../../../core/metadata/fileSearch.ts";
import { findLargestJpeg } from "../../../core/metadata/rawPreview.ts";
import { startsAsJpeg } from "../../../core/metadata/jpegMarkers.ts";
import { startsAsTiff } from "../../../core/metadata/tiffDirectory.ts";
import { readImageExif } from "../../imageExif.ts";
import type { FileTimes } from "./pairing.ts";

/** A whole picture file, and what of it is kept and metered. */
export type FolderPicture = FileTimes & {
  readonly jpeg: Uint8Array;
  /** False when `jpeg` is a preview out of a raw file. */
  readonly isOriginal: boolean;
};

/** What a file in the folder is; an unfinished one may yet become a picture. */
type FolderFile =
  | { readonly kind: "picture"; readonly picture: FolderPicture }
  | { readonly kind: "unfinished" }
  | { readonly kind: "other" };

export const UNFINISHED: FolderFile = { kind: "unfinished" };

/** Bytes at the end in which a JPEG's end marker is looked for; some writers pad with zeros. */
const TAIL_BYTES = 512;

/**
 * Reads a picture file if it is whole: a JPEG with its end marker, or a raw file of TIFF structure
 * whose largest preview has one.
 */
export async function readPicture(path: string): Promise<FolderFile> {
  const file = await open(path, "r");
  try {
    const { size } = await file.stat();
    const head = await readAt(file, { offset: 0, bytes: Math.min(4, size) });
    if (head.length < 4) return UNFINISHED;
    if (startsAsJpeg(head)) return await readJpeg(file, size);
    return startsAsTiff(head) ? await readRaw(file, size) : { kind: "other" };
  } finally {
    await file.close();
  }
}

async function readJpeg(file: FileHandle, size: number): Promise<FolderFile> {
  const range = { offset: 0, bytes: size };
  if (!(await endsAsJpeg(file, range))) return UNFINISHED;
  const jpeg = await readAt(file, range);
  const picture = { jpeg, isOriginal: true, ...(await timesOf(jpeg)) };
  return { kind: "picture", picture };
}

/** Exif fits into one segment of a JPEG, and lies at its front. */
const JPEG_HEAD_BYTES = 128 * 1024;

/** What a JPEG says of its time; null while it is not whole. */
export async function readJpegTimes(path: string): Promise<FileTimes | null> {
  const file = await open(path, "r");
  try {
    const { size } = await file.stat();
    if (!(await endsAsJpeg(file, { offset: 0, bytes: size }))) return null;
    return await timesOf(await readAt(file, { offset: 0, bytes: Math.min(JPEG_HEAD_BYTES, size) }));
  } finally {
    await file.close();
  }
}

/** Exif lies at the front of raw files of TIFF structure; the sensor's data is not needed for it. */
const RAW_HEAD_BYTES = 1024 * 1024;

async function readRaw(file: FileHandle, size: number): Promise<FolderFile> {
  const range = await answerSearch(file, findLargestJpeg(size));
  if (range === null || !(await endsAsJpeg(file, range))) return UNFINISHED;
  const jpeg = await readAt(file, range);
  const head = await readAt(file, { offset: 0, bytes: Math.min(RAW_HEAD_BYTES, size) });
  const picture = { jpeg, isOriginal: false, ...(await timesOf(head)) };
  return { kind: "picture", picture };
}

async function endsAsJpeg(file: FileHandle, range: ByteRange): Promise<boolean> {
  const bytes = Math.min(TAIL_BYTES, range.bytes);
  const tail = await readAt(file, { offset: range.offset + range.bytes - bytes, bytes });
  let end = tail.length;
  while (end > 2 && tail[end - 1] === 0) end -= 1;
  return tail[end - 2] === 0xff && tail[end - 1] === 0xd9;
}

async function answerSearch<T>(file: FileHandle, search: FileSearch<T>): Promise<T> {
  let step: IteratorResult<ByteRange, T> = search.next();
  while (!step.done) step = search.next(await readAt(file, step.value));
  return step.value;
}

async function readAt(file: FileHandle, range: ByteRange): Promise<Uint8Array> {
  const buffer = new Uint8Array(range.bytes);
  const { bytesRead } = await file.read(buffer, 0, range.bytes, range.offset);
  return bytesRead < range.bytes ? buffer.subarray(0, bytesRead) : buffer;
}

/** Capture date and exposure from the file's Exif; without, the order of arrival tells. */
async function timesOf(bytes: Uint8Array): Promise<FileTimes> {
  const { takenMs, exposureSeconds } = await readImageExif(bytes);
  return { captureMs: takenMs, exposureSeconds };
}
