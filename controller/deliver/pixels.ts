import { readFile } from "node:fs/promises";
import { NightError } from "../../core/errors.ts";
import { findLargestJpeg } from "../../core/metadata/rawPreview.ts";
import { openImage } from "../metering/openImage.ts";

/** A picture as interleaved 8-bit RGB, upright. */
export type Picture = {
  readonly rgb: Uint8Array;
  readonly widthPx: number;
  readonly heightPx: number;
};

/** The JPEG in a frame's file: the file itself, or the largest preview inside a raw file. */
export function jpegOf(bytes: Uint8Array): Uint8Array {
  if (bytes[0] === 0xff && bytes[1] === 0xd8) return bytes;
  const search = findLargestJpeg(bytes.byteLength);
  let step = search.next();
  while (step.done !== true) {
    const { offset, bytes: count } = step.value;
    step = search.next(bytes.subarray(offset, offset + count));
  }
  const found = step.value;
  if (found === null) {
    throw new NightError("image.unreadable", "There is no JPEG in the file.");
  }
  return bytes.subarray(found.offset, found.offset + found.bytes);
}

/** @throws NightError `image.unreadable` naming the file. */
export async function decodePicture(bytes: Uint8Array, name: string): Promise<Picture> {
  try {
    const { data, info } = await openImage(jpegOf(bytes), { failOn: "error" })
      .autoOrient()
      .toColourspace("srgb")
      .removeAlpha()
      .raw()
      .toBuffer({ resolveWithObject: true });
    return { rgb: data, widthPx: info.width, heightPx: info.height };
  } catch (thrown) {
    throw new NightError(
      "image.unreadable",
      `${name} is not a picture that can be read.`,
      { name },
      {
        cause: thrown,
      },
    );
  }
}

export async function readPicture(path: string): Promise<Picture> {
  return decodePicture(await readFile(path), path);
}
