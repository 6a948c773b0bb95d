import { join } from "node:path";
import type { FrameMeasure } from "../../core/frames/frameMeasure.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import type { ToneResponse } from "../../core/photometry/response.ts";
import { NightError } from "../../core/errors.ts";
import type { Catalogue } from "../archive/catalogue.ts";
import { sha256Of } from "../archive/frameFiles.ts";
import { keyOf } from "../archive/frameKey.ts";
import type { FramePool } from "./framePool.ts";
import type { MeasuredFrame } from "./frameTasks.ts";
import { toneResponseOf } from "./nightToDeliver.ts";

/** Changes when measuring itself changes, so that no old measure is taken for a new one. */
const METHOD = "cells-2";

export type MeasuredNight = {
  /** By camera and index; frames that cannot be used are not in it. */
  readonly frames: ReadonlyMap<string, MeasuredFrame>;
  /** One sentence for each frame left out. */
  readonly remarks: readonly string[];
};

/** Measures every frame once; what the catalogue knows already is taken from there. */
export async function measureNight(
  frames: readonly FrameRecord[],
  catalogue: Catalogue,
  pool: FramePool,
  options: {
    onFrame: (from: "catalogue" | "file") => void;
    canWrite: boolean;
    signal: AbortSignal;
  },
): Promise<MeasuredNight> {
  const measured = new Map<string, MeasuredFrame>();
  const remarks: string[] = [];
  const responses = new Map<string, ToneResponse | null>();
  const responseOf = (cameraId: string): ToneResponse | null => {
    const known = responses.get(cameraId);
    if (known !== undefined) return known;
    const response = toneResponseOf(catalogue, cameraId);
    responses.set(cameraId, response);
    return response;
  };
  const one = async (frame: FrameRecord): Promise<void> => {
    options.signal.throwIfAborted();
    const file = frame.file!;
    const response = responseOf(frame.cameraId);
    const madeOf = `${METHOD} ${file.sha256} ${toneName(response)}`;
    const path = join(catalogue.nightDir, file.path);
    const stored = catalogue.measure(frame.cameraId, frame.frameIndex, madeOf);
    if (stored !== null) {
      measured.set(keyOf(frame), { ...stored, measure: stored.measure as FrameMeasure });
      options.onFrame("catalogue");
      return;
    }
    const answer = await pool.run({ kind: "measure", path, sha256: file.sha256, response });
    if (answer.kind === "measured") {
      measured.set(keyOf(frame), answer.frame);
      if (options.canWrite) {
        catalogue.putMeasure(frame.cameraId, frame.frameIndex, madeOf, answer.frame);
      }
    } else if (answer.kind === "absent") {
      remarks.push(`${file.path} is missing; frame ${frame.frameIndex} is left out.`);
    } else if (answer.kind === "altered") {
      remarks.push(
        `${file.path} was altered (its SHA-256 is ${answer.sha256}, it was kept as ${file.sha256}); frame ${frame.frameIndex} is left out.`,
      );
    } else if (answer.kind === "unreadable") {
      remarks.push(`${answer.sentence} Frame ${frame.frameIndex} is left out.`);
    }
    options.onFrame("file");
  };
  // A few more under way than there are threads, so that none waits for the next order.
  await eachOf(frames, 2 * pool.width, one);
  return { frames: measured, remarks };
}

function toneName(response: ToneResponse | null): string {
  return response === null
    ? "srgb"
    : sha256Of(new TextEncoder().encode(JSON.stringify(response.deviationStops))).slice(0, 16);
}

/** Runs a task for each item, at most `width` at a time; the first failure ends it. */
export async function eachOf<T>(
  items: readonly T[],
  width: number,
  task: (item: T) => Promise<void>,
): Promise<void> {
  let next = 0;
  let isBroken = false;
  const lane = async (): Promise<void> => {
    while (next < items.length && !isBroken) {
      const item = items[next]!;
      next += 1;
      try {
        await task(item);
      } catch (thrown) {
        isBroken = true;
        throw thrown;
      }
    }
  };
  await Promise.all(Array.from({ length: Math.min(width, items.length) }, lane));
}

/** @throws NightError `deliver.failed` when a set's frames differ in size, naming them. */
export function checkOneSize(
  frames: readonly FrameRecord[],
  measured: MeasuredNight,
  setName: string,
): void {
  const bySize = new Map<string, number[]>();
  for (const frame of frames) {
    const measure = measured.frames.get(keyOf(frame))?.measure;
    if (measure === undefined) continue;
    const size = `${measure.widthPx} × ${measure.heightPx}`;
    bySize.set(size, [...(bySize.get(size) ?? []), frame.frameIndex]);
  }
  if (bySize.size <= 1) return;
  const [usual, ...odd] = [...bySize].sort((a, b) => b[1].length - a[1].length);
  const [size, indices] = odd[0]!;
  throw new NightError(
    "deliver.failed",
    `${setName} holds frames of different sizes (most are ${usual![0]} px, but frame ${indices.slice(0, 5).join(", ")} is ${size} px); cut the set there and deliver again.`,
    { sizes: Object.fromEntries(bySize) },
  );
}
