import { existsSync } from "node:fs";
import { join } from "node:path";
import type { DeliverOrder } from "../../core/api/deliverMessages.ts";
import { NightError } from "../../core/errors.ts";
import { NO_EDITS, cutFrameSets, type FrameSet } from "../../core/frames/frameSets.ts";
import type { Framing } from "../../core/frames/keogramAxes.ts";
import type { FrameFile, FrameRecord } from "../../core/watch/frameRecord.ts";
import type { ToneResponse } from "../../core/photometry/response.ts";
import type { Catalogue } from "../archive/catalogue.ts";
import { keyOf } from "../archive/frameKey.ts";
import { nightInfoOf } from "../archive/nightFolder.ts";
import type { NightInfo } from "../archive/nightInfo.ts";
import { isJpegName, originalsOf } from "../archive/originals.ts";
import {
  SET_CHANGES_KEY,
  SET_EDITS_KEY,
  framingKey,
  toneResponseKey,
  type KeptState,
} from "../archive/stateKeys.ts";

/** A frame set with the frames of it that are to be played. */
export type SetToDeliver = {
  readonly set: FrameSet;
  readonly frames: readonly FrameRecord[];
};

/** A night as delivering sees it. */
export type NightToDeliver = {
  readonly catalogue: Catalogue;
  readonly info: NightInfo | null;
  readonly frames: readonly FrameRecord[];
  readonly sets: readonly FrameSet[];
};

export function readNight(catalogue: Catalogue): NightToDeliver {
  const frames = catalogue.frames({ fromIndex: 0, count: Number.MAX_SAFE_INTEGER });
  const changes = catalogue.getState<KeptState["setChanges"]>(SET_CHANGES_KEY) ?? [];
  const edits = catalogue.getState<KeptState["setEdits"]>(SET_EDITS_KEY) ?? NO_EDITS;
  return {
    catalogue,
    info: nightInfoOf(catalogue),
    frames,
    sets: cutFrameSets(frames, changes, edits),
  };
}

export function toneResponseOf(catalogue: Catalogue, cameraId: string): ToneResponse | null {
  return catalogue.getState<ToneResponse>(toneResponseKey(cameraId));
}

export function framingOf(catalogue: Catalogue, cameraId: string): Framing | null {
  return catalogue.getState<Framing>(framingKey(cameraId));
}

/** @throws NightError `archive.not_found` for an unknown set, `deliver.failed` when nothing is left. */
export function chooseSets(night: NightToDeliver, order: DeliverOrder): readonly SetToDeliver[] {
  for (const setId of order.setIds) {
    if (night.sets.some((set) => set.setId === setId)) continue;
    const known = night.sets.map((set) => set.setId).join(", ");
    throw new NightError(
      "archive.not_found",
      `There is no frame set ${setId}; there are: ${known}.`,
    );
  }
  const byKey = new Map(night.frames.map((frame) => [keyOf(frame), frame]));
  const originals = jpegOriginals(night.catalogue.nightDir);
  const chosen = night.sets
    .filter((set) => order.setIds.length === 0 || order.setIds.includes(set.setId))
    .map((set) => ({ set, frames: playedFrames(set, byKey).filter((one) => isWithin(one, order)) }))
    .filter(({ frames }) => frames.length > 0)
    .map(({ set, frames }) => ({ set, frames: fromOriginals(frames, originals) }));
  if (chosen.length > 0) return chosen;
  const kept = night.frames.filter((frame) => frame.status === "kept").length;
  throw new NightError(
    "deliver.failed",
    kept === 0
      ? `The night in ${night.catalogue.nightDir} has no frame that was kept; there is nothing to deliver.`
      : `None of the night's ${kept} frames lies within the times given.`,
  );
}

/** Full-size JPEGs beside previews. A raw file's own picture is what its preview was taken from. */
function jpegOriginals(nightDir: string): ReadonlyMap<string, FrameFile> {
  return new Map(
    originalsOf(nightDir)
      .filter(({ file }) => isJpegName(file.path) && existsSync(join(nightDir, file.path)))
      .map((original) => [keyOf(original), original.file]),
  );
}

/** A set is played from originals when it has all of them: pictures of one film have one size. */
function fromOriginals(
  frames: readonly FrameRecord[],
  originals: ReadonlyMap<string, FrameFile>,
): readonly FrameRecord[] {
  return frames.every((frame) => originals.has(keyOf(frame)))
    ? frames.map((frame) => ({ ...frame, file: originals.get(keyOf(frame))! }))
    : frames;
}

function playedFrames(
  set: FrameSet,
  byKey: ReadonlyMap<string, FrameRecord>,
): readonly FrameRecord[] {
  return set.frameIndices
    .filter((index) => index >= set.inFrameIndex && index <= set.outFrameIndex)
    .map((frameIndex) => byKey.get(keyOf({ cameraId: set.cameraId, frameIndex }))!);
}

function isWithin(frame: FrameRecord, order: DeliverOrder): boolean {
  const at = frame.openedUtcMs;
  if (at === null) return order.fromUtcMs === null && order.toUtcMs === null;
  return (
    (order.fromUtcMs === null || at >= order.fromUtcMs) &&
    (order.toUtcMs === null || at <= order.toUtcMs)
  );
}
