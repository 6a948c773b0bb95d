import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import type { Reading } from "../../core/photometry/reading.ts";
import { utcMs } from "../../core/units.ts";

/** Start of the made-up nights: 10 January 2026, 20:00 UTC. */
export const NIGHT_START_UTC_MS = utcMs(Date.UTC(2026, 0, 10, 20, 0, 0));

export function makeReading(fields: Partial<Reading> = {}): Reading {
  return {
    skyStops: -2,
    uncertaintyStops: 0.02,
    skyLuminanceCdM2: 0.001,
    peakRatio: 3,
    clippedShare: { red: 0, green: 0, blue: 0 },
    skyShare: 0.8,
    histogram: Array.from({ length: 64 }, () => 10),
    motion: { kind: "unknown", why: "one frame" },
    starWidthPx: 2.4,
    starCount: 40,
    remarks: [],
    ...fields,
  };
}

/** A kept frame, 16 s after the one before it. */
export function makeFrame(fields: Partial<FrameRecord> = {}): FrameRecord {
  const frameIndex = fields.frameIndex ?? 0;
  const exposure = fields.ordered ?? { exposureSeconds: 10, iso: 1600, fNumber: 2.8 };
  const name = String(frameIndex).padStart(6, "0");
  return {
    frameIndex,
    cameraId: "made-up",
    status: "kept",
    ordered: exposure,
    reasons: ["sky steady"],
    targetStops: -2,
    openedUtcMs: utcMs(NIGHT_START_UTC_MS + frameIndex * 16_000),
    happened: exposure,
    file: {
      path: `frames/${name}.jpg`,
      bytes: 1000,
      sha256: "0".repeat(64),
      cameraName: `IMG_${name}.JPG`,
      cameraHandle: 0x10000 + frameIndex,
    },
    reading: makeReading(),
    pace: "full",
    ...fields,
  };
}
