import fc from "../../support/properties.ts";
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

  it("finds the frame whose opening was never written down when one picture can be its own", () => {
    const steps = plan({
      frames: [kept(0), open(1, "ordered", null)],
      cardFiles: [cardEntry(0), cardEntry(1)],
      filesOnDisk: onDisk(0),
    });
    expect(steps).toMatchObject([{ kind: "fetch", frameIndex: 1, card: cardEntry(1) }]);
  });

  it("keeps both of two such pictures as frames of their own, since neither is proved", () => {
    const steps = plan({
      frames: [kept(0), open(1, "ordered", null)],
      cardFiles: [cardEntry(0), cardEntry(1), cardEntry(2)],
      filesOnDisk: onDisk(0),
    });
    expect(steps).toMatchObject([
      { kind: "markMissing", frameIndex: 1 },
      { kind: "addFrame", frameIndex: 2, card: cardEntry(1) },
      { kind: "addFrame", frameIndex: 3, card: cardEntry(2) },
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
    const cardFiles = [0, 1, 2, 3].map((n) => cardEntry(n, { cameraHandle: 7000 + n }));
    const steps = plan({
      frames: [kept(0), kept(1), kept(2)],
      cardFiles,
      filesOnDisk: onDisk(0, 1, 2),
      clockOffsetMs: null,
    });
    expect(steps).toMatchObject([{ kind: "addFrame", frameIndex: 3, card: cardFiles[3]! }]);
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

  it("guesses nothing when no time can be known", () => {
    const undated = [0, 1, 2, 3].map((n) => cardEntry(n, { captureDate: "" }));
    const steps = plan({
      frames: [0, 1].map((n) => open(n, "taken", NIGHT_START_UTC_MS + n * 16_000)),
      cardFiles: undated,
      clockOffsetMs: null,
    });
    expect(steps.map(({ kind }) => kind)).toEqual(["markMissing", "markMissing"]);
  });

  it("believes the clock that was measured, whatever one wrong pair says", () => {
    const wrong = { ...kept(0), file: { ...kept(0).file!, cameraName: cameraName(1) } };
    const steps = plan({
      frames: [
        { ...wrong, openedUtcMs: utcMs(NIGHT_START_UTC_MS + 60_000) },
        open(2, "taken", NIGHT_START_UTC_MS + 32_000),
      ],
      cardFiles: [cardEntry(1), cardEntry(2), cardEntry(5)],
      filesOnDisk: onDisk(0),
    });
    const fetched = steps.filter((step) => step.kind === "fetch");
    expect(fetched).toMatchObject([{ frameIndex: 2, card: { cameraHandle: 0x1002 } }]);
  });

  it("does not take the clock from two frames alone", () => {
    const steps = plan({
      frames: [kept(0), kept(1), open(2, "taken", NIGHT_START_UTC_MS + 32_000)],
      cardFiles: [cardEntry(0), cardEntry(1), cardEntry(2)],
      filesOnDisk: onDisk(0, 1),
      clockOffsetMs: null,
    });
    expect(steps.map(({ kind }) => kind)).toEqual(["markMissing"]);
  });

  it("keeps a picture once that a break caught between its file's name and its row", () => {
    const frames = [kept(0), open(1, "taken", NIGHT_START_UTC_MS + 16_000)];
    const before = { frames, cardFiles: [cardEntry(0), cardEntry(1)], filesOnDisk: onDisk(0, 1) };
    const diskOnly = plan({ ...before, cardFiles: null });
    expect(diskOnly).toMatchObject([{ kind: "adopt", frameIndex: 1, card: null }]);
    const file = { ...kept(1).file!, cameraName: "", cameraHandle: null };
    const adopted = {
      ...before,
      frames: [kept(0), { ...frames[1]!, status: "kept", file } as FrameRecord],
    };
    expect(plan(adopted)).toEqual([]);
  });

  it("gives a frame that never opened no picture that was taken by hand before the next one", () => {
    const frames = [kept(0), open(1, "ordered", null), kept(2)];
    const byHand = cardEntry(7, { captureDate: captureDate(NIGHT_START_UTC_MS + 20_000) });
    const steps = plan({
      frames,
      cardFiles: [cardEntry(0), byHand, cardEntry(2)],
      filesOnDisk: onDisk(0, 2),
    });
    expect(steps.filter(({ kind }) => kind === "fetch")).toEqual([]);
    expect(steps).toContainEqual(expect.objectContaining({ kind: "markMissing", frameIndex: 1 }));
  });

  it("keeps every picture of a body that gives all of them one name", () => {
    const oneName = [0, 1, 2, 3].map((n) => cardEntry(n, { cameraName: "IMG.JPG" }));
    const undated = oneName.map((entry) => ({ ...entry, captureDate: oneName[0]!.captureDate }));
    const frames = [0, 1, 2, 3].map((n) => open(n, "taken", NIGHT_START_UTC_MS + n * 16_000));
    const fetched = (cardFiles: readonly CardEntry[]) =>
      plan({ frames, cardFiles }).filter(({ kind }) => kind === "fetch" || kind === "addFrame")
        .length;
    expect(fetched(oneName)).toBe(4);
    expect(fetched(undated)).toBe(4);
  });

  it("marks a taken frame as missing when the card is empty and no time can be known", () => {
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
