import type { FrameSet } from "../../core/frames/frameSets.ts";
import type { FrameFile } from "../../core/night/frameRecord.ts";
import type { Catalogue } from "./catalogue.ts";

/** What long work over files tells, and by what it is stopped. */
export type FileWork = {
  /** Called after each file, with its size. */
  readonly onFile: (bytes: number) => void;
  readonly signal: AbortSignal;
};

/** Files that the catalogue holds to be kept, by rising frame; null: of the whole night. */
export function keptFiles(
  catalogue: Catalogue,
  sets: readonly FrameSet[] | null,
): readonly FrameFile[] {
  const wanted = sets === null ? null : new Set(sets.flatMap(framesOf));
  return catalogue
    .frames({ fromIndex: 0, count: Number.MAX_SAFE_INTEGER })
    .flatMap(({ cameraId, frameIndex, status, file }) => {
      const isWanted = wanted === null || wanted.has(`${cameraId} ${frameIndex}`);
      return status === "kept" && file !== null && isWanted ? [file] : [];
    });
}

function framesOf({ cameraId, frameIndices }: FrameSet): readonly string[] {
  return frameIndices.map((frameIndex) => `${cameraId} ${frameIndex}`);
}

/** Where XMP beside a frame's file lies. */
export function sidecarPath(path: string): string {
  return path.replace(/\.[^.]+$/, ".xmp");
}
