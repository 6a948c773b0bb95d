import type { Exposure } from "../exposure/exposure.ts";
import type { Reading } from "../photometry/reading.ts";
import type { UtcMs } from "../units.ts";

/** Where a frame stands: ordered, taken (shutter closed), kept (file whole on disk), or lost. */
type FrameStatus = "ordered" | "taken" | "kept" | "missing";

/** A frame's file as it lies in the night's `frames/` folder. */
export type FrameFile = {
  /** Relative to the night's folder, as in `frames/000042.jpg`. */
  readonly path: string;
  readonly bytes: number;
  /** Lower-case hexadecimal. */
  readonly sha256: string;
  /** The camera's own name for it, and its handle in the session that fetched it. */
  readonly cameraName: string;
  readonly cameraHandle: number | null;
};

/** Everything the night knows of one frame; the catalogue holds one row for each. */
export type FrameRecord = {
  readonly frameIndex: number;
  readonly cameraId: string;
  readonly status: FrameStatus;
  /** What was asked of the camera, and why, in plain words. */
  readonly ordered: Exposure;
  readonly reasons: readonly string[];
  /** Wanted brightness when the frame was ordered, stops from mid-grey. */
  readonly targetStops: number;
  /** Opening of the shutter; null until it has opened. */
  readonly openedUtcMs: UtcMs | null;
  /**
   * What happened: measured exposure; null until the shutter has closed. Field and event keep this name:
   * catalogues of earlier nights hold it, replay reads them as they are, and the API hands it out.
   */
  readonly happened: Exposure | null;
  readonly file: FrameFile | null;
  readonly reading: Reading | null;
  readonly pace: "full" | "sentinel";
};

/**
 * A frame after something more is known of it. A file that is whole stays so: an event of its shutter
 * that comes late, or twice, takes nothing back.
 */
export function changedFrame(before: FrameRecord, changes: Partial<FrameRecord>): FrameRecord {
  const after = { ...before, ...changes };
  return before.status === "kept" && before.file !== null ? { ...after, status: "kept" } : after;
}
