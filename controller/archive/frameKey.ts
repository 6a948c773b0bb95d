import type { FrameSet } from "../../core/frames/frameSets.ts";

/** What names a frame within its night: an index is unique within its camera only. */
export type FrameName = { readonly cameraId: string; readonly frameIndex: number };

/** A frame's name as one word, for maps and sets. */
export function keyOf({ cameraId, frameIndex }: FrameName): string {
  return `${cameraId} ${frameIndex}`;
}

/** The names of all frames of some sets. */
export function keysOf(sets: readonly FrameSet[]): ReadonlySet<string> {
  return new Set(
    sets.flatMap(({ cameraId, frameIndices }) =>
      frameIndices.map((frameIndex) => keyOf({ cameraId, frameIndex })),
    ),
  );
}
