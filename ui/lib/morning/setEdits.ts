import type { FrameSet, SetEdits } from "../../../core/frames/frameSets.ts";

/** The edits with a set's name changed; an empty name gives the usual one back. */
export function named(edits: SetEdits, set: FrameSet, name: string): SetEdits {
  const others = withoutKey(edits.names, set.setId);
  const trimmed = name.trim();
  return { ...edits, names: trimmed === "" ? others : { ...others, [set.setId]: trimmed } };
}

/** The edits with a set's first or last played frame changed. */
export function marked(
  edits: SetEdits,
  set: FrameSet,
  marks: { readonly in?: number; readonly out?: number },
): SetEdits {
  const from = marks.in ?? set.inFrameIndex;
  const to = marks.out ?? set.outFrameIndex;
  const ordered = { in: Math.min(from, to), out: Math.max(from, to) };
  return { ...edits, marks: { ...edits.marks, [set.setId]: ordered } };
}

/** The edits with all of a set played again. */
export function unmarked(edits: SetEdits, set: FrameSet): SetEdits {
  return { ...edits, marks: withoutKey(edits.marks, set.setId) };
}

/** The edits with a set that begins at this frame. */
export function cutAt(edits: SetEdits, set: FrameSet, frameIndex: number): SetEdits {
  const here = { cameraId: set.cameraId, frameIndex };
  return {
    ...edits,
    cuts: [...without(edits.cuts, here), here],
    joins: without(edits.joins, here),
  };
}

/** The edits with a set joined to the one before it. */
export function joined(edits: SetEdits, set: FrameSet): SetEdits {
  const here = { cameraId: set.cameraId, frameIndex: set.frameIndices[0] ?? 0 };
  return {
    ...edits,
    cuts: without(edits.cuts, here),
    joins: [...without(edits.joins, here), here],
  };
}

type Place = SetEdits["cuts"][number];

function without(places: readonly Place[], here: Place): readonly Place[] {
  return places.filter(
    ({ cameraId, frameIndex }) => cameraId !== here.cameraId || frameIndex !== here.frameIndex,
  );
}

function withoutKey<T>(record: Readonly<Record<string, T>>, key: string): Record<string, T> {
  return Object.fromEntries(Object.entries(record).filter(([one]) => one !== key));
}
