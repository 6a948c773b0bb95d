import fc from "fast-check";
import { describe, expect, it } from "vitest";
import {
  planReconciliation,
  type CardEntry,
  type DiskEntry,
  type ReconciliationInput,
  type ReconciliationStep,
} from "../../../core/frames/reconcile.ts";
import type { FrameRecord } from "../../../core/watch/frameRecord.ts";
import { utcMs } from "../../../core/units.ts";
import { NIGHT_START_UTC_MS, makeFrame } from "../../support/frameRecords.ts";

const CLOCK_OFFSET_MS = 3_600_000 + 7_300;

function cameraName(n: number): string {
  return `IMG_${String((n % 9999) + 1).padStart(4, "0")}.JPG`;
}

/** The camera shows whole seconds of its own, wrong, clock. */
function captureDate(openedUtcMs: number): string {
  return new Date(openedUtcMs + CLOCK_OFFSET_MS).toISOString().slice(0, 19).replace(/[-:]/g, "");
}

function cardEntry(n: number, fields: Partial<CardEntry> = {}): CardEntry {
  return {
    cameraHandle: 0x1000 + n,
    cameraName: cameraName(n),
    bytes: 1000 + n,
    captureDate: captureDate(NIGHT_START_UTC_MS + n * 16_000),
    ...fields,
  };
}

function pathOf(frameIndex: number): string {
  return `frames/${String(frameIndex).padStart(6, "0")}.jpg`;
}

function kept(n: number): FrameRecord {
  return makeFrame({
    frameIndex: n,
    file: {
      path: pathOf(n),
      bytes: 1000 + n,
      sha256: "0".repeat(64),
      cameraName: cameraName(n),
      cameraHandle: 0x1000 + n,
    },
  });
}

function open(n: number, status: "ordered" | "taken", openedUtcMs: number | null): FrameRecord {
  return makeFrame({
    frameIndex: n,
    status,
    file: null,
    reading: null,
    happened: null,
    openedUtcMs: openedUtcMs === null ? null : utcMs(openedUtcMs),
  });
}

function plan(fields: Partial<ReconciliationInput>): readonly ReconciliationStep[] {
  return planReconciliation({
    cameraId: "made-up",
    frames: [],
    cardFiles: [],
    filesOnDisk: [],
    pathOf,
    clockOffsetMs: CLOCK_OFFSET_MS,
    startUtcMs: NIGHT_START_UTC_MS,
    endUtcMs: null,
    ...fields,
  });
}

function onDisk(...indices: number[]): DiskEntry[] {
  return indices.map((n) => ({ path: pathOf(n), bytes: 1000 + n }));
}

describe("reconciling card, disk and catalogue", () => {
  it("has nothing to do when all three agree", () => {
    const cardFiles = [0, 1, 2].map((n) => cardEntry(n));
    const steps = plan({
      frames: [kept(0), kept(1), kept(2)],
      cardFiles,
      filesOnDisk: onDisk(0, 1, 2),
    });
    expect(steps).toEqual([]);
  });

  it("fetches a taken frame that was not kept, and sets its half-written file aside", () => {
    const steps = plan({
      frames: [kept(0), open(1, "taken", NIGHT_START_UTC_MS + 16_000)],
      cardFiles: [cardEntry(0), cardEntry(1)],
      filesOnDisk: [...onDisk(0), { path: "frames/000001.jpg.part", bytes: 500 }],
    });
    expect(steps).toMatchObject([
      { kind: "setAside", path: "frames/000001.jpg.part" },
      { kind: "fetch", frameIndex: 1, card: { cameraHandle: 0x1001 }, path: pathOf(1) },
    ]);
  });

  it("writes a whole file down without fetching it again", () => {
    const steps = plan({
      frames: [kept(0), open(1, "taken", NIGHT_START_UTC_MS + 16_000)],
      cardFiles: [cardEntry(0), cardEntry(1)],
      filesOnDisk: onDisk(0, 1),
    });
    expect(steps).toMatchObject([{ kind: "adopt", frameIndex: 1, card: cardEntry(1) }]);
  });

  it("finds the frame whose opening was never written down, and adds one of which nothing is known", () => {
    const steps = plan({
      frames: [kept(0), open(1, "ordered", null)],
      cardFiles: [cardEntry(0), cardEntry(1), cardEntry(2)],
      filesOnDisk: onDisk(0),
    });
    expect(steps).toMatchObject([
      { kind: "fetch", frameIndex: 1, card: cardEntry(1) },
      { kind: "addFrame", frameIndex: 2, card: cardEntry(2) },
    ]);
  });

  it("leaves yesterday's frames and tomorrow's on the card alone", () => {
    const old = cardEntry(0, {
      cameraHandle: 1,
      captureDate: captureDate(NIGHT_START_UTC_MS - 20_000),
    });
    const later = cardEntry(5, { captureDate: captureDate(NIGHT_START_UTC_MS + 86_400_000) });
    const steps = plan({
      frames: [kept(1)],
      cardFiles: [old, cardEntry(1), later],
      filesOnDisk: onDisk(1),
      endUtcMs: utcMs(NIGHT_START_UTC_MS + 3_600_000),
    });
    expect(steps).toEqual([]);
  });

  it("tells two files of one name apart when the counter came round after 9999", () => {
    const first = cardEntry(0);
    const again = cardEntry(9999);
    expect(again.cameraName).toBe(first.cameraName);
    const steps = plan({
      frames: [kept(0), open(9999, "taken", NIGHT_START_UTC_MS + 9999 * 16_000)],
      cardFiles: [first, again],
      filesOnDisk: onDisk(0),
    });
    expect(steps).toMatchObject([{ kind: "fetch", frameIndex: 9999, card: again }]);
  });

  it("knows kept frames again after the camera has renumbered its handles", () => {
    const cardFiles = [0, 1, 2].map((n) => cardEntry(n, { cameraHandle: 7000 + n }));
    const steps = plan({
      frames: [kept(0), kept(1)],
      cardFiles,
      filesOnDisk: onDisk(0, 1),
      clockOffsetMs: null,
    });
    expect(steps).toMatchObject([{ kind: "addFrame", frameIndex: 2, card: cardFiles[2]! }]);
  });

  it("takes a JPEG and its raw file for one frame", () => {
    const raw = cardEntry(0, { cameraHandle: 5, cameraName: "IMG_0001.RAW", bytes: 40_000 });
    const steps = plan({
      frames: [kept(0), open(1, "taken", NIGHT_START_UTC_MS + 16_000)],
      cardFiles: [raw, cardEntry(0), cardEntry(1)],
      filesOnDisk: onDisk(0),
    });
    expect(steps).toMatchObject([{ kind: "fetch", frameIndex: 1 }]);
    expect(steps).toHaveLength(1);
  });

  it("fetches a kept frame again whose file is gone or was changed", () => {
    const steps = plan({
      frames: [kept(0), kept(1)],
      cardFiles: [cardEntry(0), cardEntry(1)],
      filesOnDisk: [{ path: pathOf(1), bytes: 3 }],
    });
    expect(steps).toMatchObject([
      { kind: "fetch", frameIndex: 0, why: "its file is gone" },
      { kind: "fetch", frameIndex: 1, why: "its file was changed" },
    ]);
  });

  it("marks as missing what was taken and is nowhere, once", () => {
    const frames = [kept(0), open(1, "taken", NIGHT_START_UTC_MS + 16_000)];
    const steps = plan({ frames, cardFiles: [cardEntry(0)], filesOnDisk: onDisk(0) });
    expect(steps).toMatchObject([{ kind: "markMissing", frameIndex: 1 }]);
    const marked = [frames[0]!, { ...frames[1]!, status: "missing" as const }];
    expect(plan({ frames: marked, cardFiles: [cardEntry(0)], filesOnDisk: onDisk(0) })).toEqual([]);
  });

  it("puts the disk in order and gives nothing up while the camera cannot be reached", () => {
    const steps = plan({
      frames: [open(0, "taken", NIGHT_START_UTC_MS), open(1, "taken", NIGHT_START_UTC_MS + 16_000)],
      cardFiles: null,
      filesOnDisk: onDisk(0),
    });
    expect(steps).toEqual([{ kind: "adopt", frameIndex: 0, card: null, path: pathOf(0) }]);
  });

  it("takes the newest card files for the newest frames when no time can be told", () => {
    const undated = [0, 1, 2, 3].map((n) => cardEntry(n, { captureDate: "" }));
    const steps = plan({
      frames: [0, 1].map((n) => open(n, "taken", NIGHT_START_UTC_MS + n * 16_000)),
      cardFiles: undated,
      clockOffsetMs: null,
    });
    expect(steps).toMatchObject([
      { kind: "fetch", frameIndex: 0, card: { cameraHandle: 0x1002 } },
      { kind: "fetch", frameIndex: 1, card: { cameraHandle: 0x1003 } },
    ]);
  });

  it("marks a taken frame as missing when the card is empty and no time can be told", () => {
    const steps = plan({
      frames: [open(0, "taken", NIGHT_START_UTC_MS)],
      cardFiles: [],
      clockOffsetMs: null,
    });
    expect(steps).toMatchObject([{ kind: "markMissing", frameIndex: 0 }]);
  });

  it("whatever instant the break came at, every frame of the card ends up once, and a second plan is empty", () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 0, max: 30 }),
        fc.array(fc.constantFrom("row", "opened", "half", "whole", "nothing"), { maxLength: 4 }),
        fc.integer({ min: 0, max: 3 }),
        (keptCount, tail, olderCount) => {
          const older = Array.from({ length: olderCount }, (_, n) =>
            cardEntry(5000 + n, {
              cameraHandle: n + 1,
              captureDate: captureDate(NIGHT_START_UTC_MS - 600_000 + n * 10_000),
            }),
          );
          const total = keptCount + tail.length;
          const cardFiles = [...older, ...Array.from({ length: total }, (_, n) => cardEntry(n))];
          const frames: FrameRecord[] = Array.from({ length: keptCount }, (_, n) => kept(n));
          const filesOnDisk = onDisk(...frames.map((frame) => frame.frameIndex));
          for (const [k, at] of tail.entries()) {
            const n = keptCount + k;
            const opened = NIGHT_START_UTC_MS + n * 16_000;
            if (at === "nothing") continue;
            frames.push(open(n, at === "row" ? "ordered" : "taken", at === "row" ? null : opened));
            if (at === "half") filesOnDisk.push({ path: `${pathOf(n)}.part`, bytes: 1 });
            if (at === "whole") filesOnDisk.push(...onDisk(n));
          }
          const input = { frames, cardFiles, filesOnDisk };
          const after = carryOut(input, plan(input));
          const handles = after.frames
            .filter((frame) => frame.status === "kept")
            .map((frame) => frame.file!.cameraHandle!);
          expect([...handles].sort((a, b) => a - b)).toEqual(
            Array.from({ length: total }, (_, n) => 0x1000 + n),
          );
          expect(plan(after)).toEqual([]);
        },
      ),
      { numRuns: 300 },
    );
  });
});

type Holdings = { frames: FrameRecord[]; cardFiles: CardEntry[]; filesOnDisk: DiskEntry[] };

/** What the executor does, on plain data. */
function carryOut(before: Holdings, steps: readonly ReconciliationStep[]): Holdings {
  const frames = new Map(before.frames.map((frame) => [frame.frameIndex, frame]));
  const disk = new Map(before.filesOnDisk.map((file) => [file.path, file.bytes]));
  for (const step of steps) {
    if (step.kind === "setAside") disk.delete(step.path);
    else if (step.kind === "markMissing") {
      frames.set(step.frameIndex, { ...frames.get(step.frameIndex)!, status: "missing" });
    } else {
      const card = step.card!;
      disk.set(step.path, card.bytes);
      const { cameraName, cameraHandle, bytes } = card;
      const file = { path: step.path, bytes, sha256: "", cameraName, cameraHandle };
      const openedUtcMs =
        step.kind === "addFrame" ? step.openedUtcMs : frames.get(step.frameIndex)!.openedUtcMs;
      frames.set(step.frameIndex, makeFrame({ frameIndex: step.frameIndex, file, openedUtcMs }));
    }
  }
  return {
    frames: [...frames.values()].sort((a, b) => a.frameIndex - b.frameIndex),
    cardFiles: before.cardFiles,
    filesOnDisk: [...disk].map(([path, bytes]) => ({ path, bytes })),
  };
}
