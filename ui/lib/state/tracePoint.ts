import type { NightCurves } from "../../../core/api/nightCurves.ts";
import type { FrameRecord } from "../../../core/watch/frameRecord.ts";

/** One frame as the night strip draws it. */
export type TracePoint = {
  readonly frameIndex: number;
  readonly cameraId: string;
  readonly openedUtcMs: number;
  readonly exposureSeconds: number;
  readonly iso: number;
  readonly skyLuminanceCdM2: number | null;
  readonly fromTargetStops: number | null;
  readonly clippedShare: number | null;
  readonly hasFile: boolean;
};

/** A frame whose shutter never opened has no place on the strip. */
export function pointOf(frame: FrameRecord): TracePoint | null {
  if (frame.openedUtcMs === null) return null;
  const { exposureSeconds, iso } = frame.happened ?? frame.ordered;
  const { reading } = frame;
  const clipped = reading?.clippedShare;
  return {
    frameIndex: frame.frameIndex,
    cameraId: frame.cameraId,
    openedUtcMs: frame.openedUtcMs,
    exposureSeconds,
    iso,
    skyLuminanceCdM2: reading?.skyLuminanceCdM2 ?? null,
    fromTargetStops: reading === null ? null : reading.skyStops - frame.targetStops,
    clippedShare: clipped ? Math.max(clipped.red, clipped.green, clipped.blue) : null,
    hasFile: frame.file !== null && frame.status !== "missing",
  };
}

/** The same of a whole stretch of the night. */
export function pointsOf(curves: NightCurves): TracePoint[] {
  return curves.frameIndex.flatMap((frameIndex, at) => {
    const openedUtcMs = curves.openedUtcMs[at];
    if (openedUtcMs === null || openedUtcMs === undefined) return [];
    return [
      {
        frameIndex,
        cameraId: curves.cameraIds[curves.camera[at] ?? 0] ?? "",
        openedUtcMs,
        exposureSeconds: curves.exposureSeconds[at] ?? 0,
        iso: curves.iso[at] ?? 0,
        skyLuminanceCdM2: curves.skyLuminanceCdM2[at] ?? null,
        fromTargetStops: curves.fromTargetStops[at] ?? null,
        clippedShare: curves.clippedShare[at] ?? null,
        hasFile: curves.hasFile[at] ?? false,
      },
    ];
  });
}

/** Both lists in one by rising index; a newer word on a frame wins. The usual case, one at the end, is cheap. */
export function merged(known: readonly TracePoint[], fresh: readonly TracePoint[]): TracePoint[] {
  const last = known.at(-1);
  if (fresh.length === 1 && fresh[0] && (!last || fresh[0].frameIndex > last.frameIndex)) {
    return [...known, fresh[0]];
  }
  const byIndex = new Map(known.map((point) => [point.frameIndex, point]));
  for (const point of fresh) byIndex.set(point.frameIndex, point);
  return [...byIndex.values()].sort((one, other) => one.frameIndex - other.frameIndex);
}
