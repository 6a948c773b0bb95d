import { describe, expect, it } from "vitest";
import { FrameFiles } from "../../../controller/shutter/awaitedFiles.ts";

const UNRELATED = 0xffffffff;

/** A bulb that has been opened and closed. */
function exposed(files: FrameFiles, frameIndex: number, captureId: number): void {
  files.await({ frameIndex, captureId, isHeldOpen: true });
  files.noteClosing(frameIndex);
}

function twoExposed(): FrameFiles {
  const files = new FrameFiles();
  exposed(files, 0, 11);
  exposed(files, 1, 22);
  return files;
}

describe("the files of frames", () => {
  it("follows the event's transaction where it names a capture", () => {
    const files = twoExposed();
    expect(files.name(100, 22)).toMatchObject({ kind: "ofFrame", frameIndex: 1 });
    expect(files.name(101, 11)).toMatchObject({ kind: "ofFrame", frameIndex: 0 });
  });

  it.each([0, UNRELATED, 999])("goes by the order of exposure when the event carries %i", (id) => {
    const files = twoExposed();
    expect(files.name(100, id)).toEqual({ kind: "byOrder", frameIndexes: [0, 1] });
    expect(files.claim(100, [0, 1])).toMatchObject({ kind: "ofFrame", frameIndex: 0 });
    expect(files.claim(101, [0, 1])).toMatchObject({ kind: "ofFrame", frameIndex: 1 });
    expect(files.claim(102, [0, 1])).toEqual({ kind: "foreign" });
  });

  it("gives a file that was named before a frame began to none that began later", () => {
    const files = new FrameFiles();
    exposed(files, 0, 11);
    files.name(100, 0);
    files.name(101, 0);
    files.claim(100, [0]);
    exposed(files, 1, 22);
    expect(files.claim(101, [0])).toEqual({ kind: "foreign" });
    expect(files.isAwaited(1)).toBe(true);
  });

  it("takes a file named twice, or there before, once", () => {
    const files = twoExposed();
    files.learn([5]);
    expect(files.name(5, 11)).toEqual({ kind: "known" });
    files.name(100, 11);
    expect(files.name(100, 11)).toEqual({ kind: "known" });
    expect(files.isAwaited(1)).toBe(true);
  });

  it("tells a frame's second file from the next frame's first by its transaction", () => {
    const files = twoExposed();
    files.name(100, 11);
    expect(files.name(101, 11)).toEqual({ kind: "companion", frameIndex: 0 });
    expect(files.isAwaited(1)).toBe(true);
  });

  it("gives a late file that names its capture to the frame that was given up, and the next its own", () => {
    const files = twoExposed();
    files.expectBy(0, 0);
    for (const nowMs of [0, 1_000, 10_000]) files.noteComparison(nowMs, 100);
    expect(files.isAwaited(0)).toBe(false);
    expect(files.name(100, 11)).toMatchObject({ kind: "ofFrame", frameIndex: 0 });
    expect(files.name(101, 22)).toMatchObject({ kind: "ofFrame", frameIndex: 1 });
  });

  it("takes a file that nobody waits for as foreign, and offers it when a frame waits again", () => {
    const files = new FrameFiles();
    exposed(files, 0, 11);
    expect(files.name(100, 11)).toMatchObject({ frameIndex: 0 });
    expect(files.name(101, 0)).toEqual({ kind: "foreign" });
    expect(files.awaitAgain({ frameIndex: 0, captureId: 11 }, null)).toEqual([101]);
    expect(files.name(101, 0)).toEqual({ kind: "byOrder", frameIndexes: [0] });
  });

  it("gives an open bulb no file of another transaction before its own has had its chance", () => {
    const files = new FrameFiles();
    files.await({ frameIndex: 1, captureId: 22, isHeldOpen: true });
    expect(files.name(100, 11)).toEqual({ kind: "foreign" }); // of a frame whose link broke
    files.expectBy(1, 1_000);
    expect(files.name(101, 22)).toMatchObject({ frameIndex: 1 });
  });

  it("offers such a file again when the card is compared and the frame still has none", () => {
    const files = new FrameFiles();
    files.await({ frameIndex: 1, captureId: 22, isHeldOpen: true });
    files.name(100, UNRELATED);
    files.expectBy(1, 1_000);
    expect(files.offerUnclaimed()).toEqual([100]);
    expect(files.name(100, null)).toEqual({ kind: "byOrder", frameIndexes: [1] });
  });

  it("gives a frame up after three comparisons at 100, 200 and 400 ms that found nothing", () => {
    const files = new FrameFiles();
    exposed(files, 0, 11);
    expect(files.compareAtMs).toBeNull(); // the shutter is still open
    files.expectBy(0, 1_000);
    expect(files.compareAtMs).toBe(1_000);
    expect(files.noteComparison(999, 100)).toEqual([]);
    expect(files.noteComparison(1_000, 100)).toEqual([]);
    expect(files.compareAtMs).toBe(1_200);
    expect(files.noteComparison(1_200, 100)).toEqual([]);
    expect(files.compareAtMs).toBe(1_600);
    expect(files.noteComparison(1_600, 100)).toEqual([0]);
    expect(files.compareAtMs).toBeNull();
  });

  it("forgets every handle with the link and names the frames that had no file", () => {
    const files = twoExposed();
    files.name(100, 11);
    expect(files.forgetAll()).toEqual([1]);
    exposed(files, 2, 33);
    expect(files.name(100, 33)).toMatchObject({ frameIndex: 2 });
  });

  it("knows which frame a capture still owes a file to", () => {
    const files = twoExposed();
    expect(files.frameOf(22)).toBe(1);
    files.giveUp(1);
    expect(files.frameOf(22)).toBeNull();
  });
});
