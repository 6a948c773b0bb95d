import { existsSync, readFileSync, readdirSync } from "node:fs";
import { join } from "node:path";
import type { FrameFile } from "../../core/watch/frameRecord.ts";

/** Where cameras' own files lie when the night itself made do with previews, a folder a camera. */
export const ORIGINALS_FOLDER = "originals";
/** What a camera's folder says of its files. */
export const ORIGINALS_LIST = "originals.json";

/** An original that is here, with what proves it later. */
export type ListedOriginal = {
  readonly frameIndex: number;
  readonly cameraName: string;
  /** Name inside the camera's folder. */
  readonly file: string;
  readonly bytes: number;
  readonly sha256: string;
};

/** A frame's original, its path relative to the night's folder. */
type Original = {
  readonly cameraId: string;
  readonly frameIndex: number;
  readonly file: FrameFile;
};

/** The originals that a night holds, as its lists have them. */
export function originalsOf(nightDir: string): readonly Original[] {
  const folder = join(nightDir, ORIGINALS_FOLDER);
  if (!existsSync(folder)) return [];
  return readdirSync(folder).flatMap((cameraId) =>
    readList(join(folder, cameraId, ORIGINALS_LIST)).map(({ frameIndex, file, ...rest }) => {
      const path = `${ORIGINALS_FOLDER}/${cameraId}/${file}`;
      return { cameraId, frameIndex, file: { ...rest, path, cameraHandle: null } };
    }),
  );
}

function readList(path: string): readonly ListedOriginal[] {
  try {
    const { kept } = JSON.parse(readFileSync(path, "utf8")) as { kept?: ListedOriginal[] };
    return kept ?? [];
  } catch {
    // No list, or one that cannot be read: nothing is known of what lies there.
    return [];
  }
}

/** True for JPEG files, by their name; everything else that a camera writes is raw. */
export function isJpegName(path: string): boolean {
  return /\.jpe?g$/i.test(path);
}
