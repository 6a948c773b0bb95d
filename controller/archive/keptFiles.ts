import type { FrameSet } from "../../core/frames/frameSets.ts";
import { isLeftBehind } from "../../core/frames/reconcile.ts";
import type { FrameFile } from "../../core/watch/frameRecord.ts";
import type { Catalogue } from "./catalogue.ts";
import { keyOf, keysOf, type FrameName } from "./frameKey.ts";
import { ORIGINALS_FOLDER, ORIGINALS_LIST, originalsOf } from "./originals.ts";

/** What long work over files tells, and by what it is stopped. */
export type FileWork = {
  /** Called after each file, with its size. */
  readonly onFile: (bytes: number) => void;
  readonly signal: AbortSignal;
};

/** The files of a night that have a checksum: its frames', originals, strays; null: all of them. */
export function keptFiles(
  catalogue: Catalogue,
  sets: readonly FrameSet[] | null,
): readonly FrameFile[] {
  const wanted = sets === null ? null : keysOf(sets);
  const rows = catalogue.frames({ fromIndex: 0, count: Number.MAX_SAFE_INTEGER });
  const leftBehind = new Set(rows.filter(isLeftBehind).map(keyOf));
  const isMeant = (frame: FrameName): boolean =>
    !leftBehind.has(keyOf(frame)) && (wanted === null || wanted.has(keyOf(frame)));
  const frames = rows
    .filter(isMeant)
    .flatMap(({ status, file }) => (status === "kept" && file !== null ? [file] : []));
  const originals = originalsOf(catalogue.nightDir).filter(isMeant);
  const strays = sets === null ? catalogue.strays() : [];
  return [
    ...frames,
    ...originals.map(({ file }) => file),
    ...strays.map(({ file, card: { cameraName, cameraHandle } }) => ({
      ...{ ...file, cameraName, cameraHandle },
    })),
  ];
}

/** Lists that come along with a night's files; the catalogue does not hold them. */
export function listsOf(catalogue: Catalogue): readonly string[] {
  const cameras = new Set(originalsOf(catalogue.nightDir).map(({ cameraId }) => cameraId));
  return [...cameras].map((id) => `${ORIGINALS_FOLDER}/${id}/${ORIGINALS_LIST}`);
}

/** Where XMP beside a frame's file lies. */
export function sidecarPath(path: string): string {
  return path.replace(/\.[^.]+$/, ".xmp");
}
