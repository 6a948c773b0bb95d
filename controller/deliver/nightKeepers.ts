import type { FrameMeasure } from "../../core/frames/frameMeasure.ts";
import { chooseKeepers, type Keeper, type KeeperCandidate } from "../../core/frames/keepers.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import type { Catalogue } from "../archive/catalogue.ts";
import { keyOf } from "../archive/frameKey.ts";

/**
 * The night's keepers by what is known now: by the pixels once the night has been measured, until
 * then by what the meter said.
 */
export function keepersOfCatalogue(
  catalogue: Catalogue,
  frames: readonly FrameRecord[],
): readonly Keeper[] {
  const measures = new Map(
    catalogue.measures().map((row) => [keyOf(row), row.measure as FrameMeasure]),
  );
  const kept = frames.filter((frame) => frame.status === "kept");
  const isMeasured = kept.length > 0 && kept.every((frame) => measures.has(keyOf(frame)));
  const candidates = kept.flatMap((frame): KeeperCandidate[] => {
    const measure = isMeasured ? measures.get(keyOf(frame)) : undefined;
    if (measure !== undefined) return [{ ...frame, ...measure }];
    return frame.reading === null ? [] : [candidateByReading(frame)];
  });
  return chooseKeepers(candidates, catalogue.picks());
}

/** A meter reports peaks, stars and clipping, not of colour; brightness tells frames apart. */
function candidateByReading(frame: FrameRecord): KeeperCandidate {
  const reading = frame.reading!;
  const { red, green, blue } = reading.clippedShare;
  return {
    cameraId: frame.cameraId,
    frameIndex: frame.frameIndex,
    openedUtcMs: frame.openedUtcMs,
    meanStops: reading.skyStops,
    structure: Math.log2(Math.max(1, reading.peakRatio)),
    colour: 0,
    sharpness: reading.starWidthPx === null ? 0 : 1 / reading.starWidthPx,
    clippedShare: Math.max(red, green, blue),
    cellStops: [Math.log2(reading.skyLuminanceCdM2), Math.log2(Math.max(1, reading.peakRatio))],
  };
}
