/**
 * A night's daemon, cut down to what it writes: run as a process of its own and killed at will.
 * The camera lives in the parent, as a real one outlives the laptop's program.
 */
import { Catalogue } from "../../controller/archive/catalogue.ts";
import { frameFileName, keepFrameFile } from "../../controller/archive/frameFiles.ts";
import { recoverNight, markRunning } from "../../controller/archive/recover.ts";
import type { CardEntry } from "../../core/frames/reconcile.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { monotonicMs, utcMs } from "../../core/units.ts";
import { makeFrame, makeReading } from "./frameRecords.ts";

export const KILLED_CAMERA = "made-up";

export type ToCamera =
  | { readonly kind: "list"; readonly call: number }
  | { readonly kind: "fetch"; readonly call: number; readonly handle: number }
  | { readonly kind: "expose"; readonly call: number }
  | { readonly kind: "resumed"; readonly nextFrameIndex: number; readonly seconds: number };

export type FromCamera =
  | { readonly call: number; readonly list: readonly CardEntry[] }
  | { readonly call: number; readonly bytes: Uint8Array }
  | {
      readonly call: number;
      readonly entry: CardEntry;
      readonly openedUtcMs: number;
      readonly bytes: Uint8Array;
    };

const answers = new Map<number, (answer: FromCamera) => void>();
let calls = 0;

function ask<T extends FromCamera>(
  message: { kind: "list" } | { kind: "fetch"; handle: number } | { kind: "expose" },
): Promise<T> {
  calls += 1;
  const call = calls;
  return new Promise((resolve) => {
    answers.set(call, resolve as (answer: FromCamera) => void);
    process.send!({ ...message, call });
  });
}

async function takeFrame(catalogue: Catalogue, frameIndex: number): Promise<void> {
  const ordered: FrameRecord = makeFrame({
    frameIndex,
    status: "ordered",
    file: null,
    reading: null,
    happened: null,
    openedUtcMs: null,
  });
  catalogue.putFrame(ordered);
  const taken = await ask<Extract<FromCamera, { entry: CardEntry }>>({ kind: "expose" });
  const openedUtcMs = utcMs(taken.openedUtcMs);
  const atMs = monotonicMs(frameIndex * 100);
  catalogue.appendEvent({ atMs, utcMs: openedUtcMs, kind: "shutterClosed", body: { frameIndex } });
  const closed: FrameRecord = {
    ...ordered,
    status: "taken",
    openedUtcMs,
    happened: ordered.ordered,
  };
  catalogue.putFrame(closed);
  const kept = await keepFrameFile(catalogue.nightDir, frameFileName(frameIndex), taken.bytes);
  const { cameraName, cameraHandle } = taken.entry;
  catalogue.putFrame({
    ...closed,
    status: "kept",
    file: { ...kept, cameraName, cameraHandle },
    reading: makeReading(),
  });
  catalogue.putSlice(KILLED_CAMERA, frameIndex, {
    thumbnailJpeg: taken.bytes.slice(0, 200),
    column: taken.bytes.slice(0, 90),
  });
}

async function main(nightDir: string): Promise<void> {
  process.on("message", (answer: FromCamera) => {
    answers.get(answer.call)?.(answer);
    answers.delete(answer.call);
  });
  process.on("disconnect", () => process.exit(0));
  const catalogue = Catalogue.open(nightDir);
  const report = await recoverNight(catalogue, {
    cameraId: KILLED_CAMERA,
    camera: {
      listCard: async () => (await ask<{ call: number; list: CardEntry[] }>({ kind: "list" })).list,
      fetchFile: async (handle) =>
        (await ask<{ call: number; bytes: Uint8Array }>({ kind: "fetch", handle })).bytes,
    },
    clockOffsetMs: 0,
  });
  if (report.problems.length > 0) throw new Error(report.problems.join(" "));
  markRunning(catalogue, { cameraId: KILLED_CAMERA });
  let frameIndex = catalogue.nextFrameIndex(KILLED_CAMERA);
  // performance.now() counts from the start of the process.
  const seconds = performance.now() / 1000;
  process.send!({ kind: "resumed", nextFrameIndex: frameIndex, seconds });
  for (;;) {
    await takeFrame(catalogue, frameIndex);
    frameIndex += 1;
  }
}

if (process.argv[2] !== undefined && process.send !== undefined) void main(process.argv[2]);
