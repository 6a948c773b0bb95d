import { describe, expect, it } from "vitest";
import {
  LinkPace,
  SMALL_PIECE_BYTES,
  AnswerPace,
  ReadoutPace,
} from "../../../controller/shutter/linkPace.ts";

describe("the pace of a link", () => {
  it("takes the usual round trip from the middle and the worst from twice the longest", () => {
    const pace = new LinkPace();
    for (const durationMs of [2, 3, 40, 2.5, 3.5]) pace.noteRoundTrip(durationMs);
    expect(pace.roundTripMs).toBe(3);
    expect(pace.roundTripMsMax).toBe(80);
  });

  it("never trusts a round trip to be surely shorter than 3 ms", () => {
    const pace = new LinkPace();
    pace.noteRoundTrip(0.1);
    expect(pace.roundTripMsMax).toBe(3);
  });

  it("forgets a hiccup after fifteen better ones", () => {
    const pace = new LinkPace();
    pace.noteRoundTrip(400);
    for (let count = 0; count < 15; count += 1) pace.noteRoundTrip(5);
    expect(pace.roundTripMsMax).toBe(10);
  });

  it("asks for half of what the slowest of the latest pieces would bring", () => {
    const pace = new LinkPace();
    pace.notePiece({ bytes: 1_000_000, durationMs: 10 }); // 100 kB/ms
    pace.notePiece({ bytes: 1_000_000, durationMs: 50 }); // 20 kB/ms
    expect(pace.bytesWithin(23)).toBe(20 * 10_000);
    expect(pace.msFor(200_000)).toBeCloseTo(23, 6);
  });

  it("starts with a small piece on an unknown link and wants 36 ms for it", () => {
    const pace = new LinkPace();
    expect(pace.bytesWithin(1)).toBe(SMALL_PIECE_BYTES);
    expect(pace.msFor(SMALL_PIECE_BYTES)).toBeCloseTo(3 + 16_384 / 500, 6);
  });

  it("never asks for more than 4 MiB at once", () => {
    const pace = new LinkPace();
    pace.notePiece({ bytes: 1 << 20, durationMs: 0 });
    expect(pace.bytesWithin(60_000)).toBe(4 << 20);
  });
});

/** What is taken off the last of these answers, each sent at 0 ms. */
function takenOff(...tookMs: readonly number[]): number {
  const pace = new AnswerPace();
  return tookMs.map((answeredMs) => pace.noteAnswer({ sentMs: 0, answeredMs })).at(-1)!;
}

describe("an answer to an opening", () => {
  it("is taken at its word when it is the first", () => {
    expect(takenOff(40)).toBe(0);
  });

  it("is taken at its word when it came as fast as usual, or faster", () => {
    expect(takenOff(4, 4, 4, 4)).toBe(0);
    expect(takenOff(4, 4, 4, 1)).toBe(0);
  });

  it("that took 30 ms instead of 4 ms loses half of the 26 ms", () => {
    expect(takenOff(4, 4, 4, 30)).toBe(13);
  });

  it("is compared with the middle one of the last nine, so that one late answer teaches nothing", () => {
    expect(takenOff(4, 4, 90, 30)).toBe(13);
    expect(takenOff(4, 4, 4, 4, 4, 30, 30, 30, 30, 30, 30, 30)).toBe(0);
  });
});

/** A camera that reads out for so long, tried again every 5 ms. @returns when it was tried first. */
function frame(pace: ReadoutPace, readoutMs: number, firstTryMs: number): void {
  pace.noteClosed(0);
  let atMs = firstTryMs;
  for (; atMs < readoutMs; atMs += 5) pace.noteBusy();
  pace.noteOpened(atMs);
}

describe("the readout's pace", () => {
  it("knows nothing before the first frame", () => {
    expect(new ReadoutPace().readyAfterMs).toBeNull();
  });

  it("comes within 5 ms and 3 % of a readout of 1 s by the fourth frame when the first try came at 8 s", () => {
    const pace = new ReadoutPace();
    frame(pace, 1_000, 8_000);
    for (let count = 0; count < 4; count += 1) frame(pace, 1_000, pace.readyAfterMs ?? 8_000);
    for (let count = 0; count < 20; count += 1) {
      expect(pace.readyAfterMs).toBeGreaterThan(1_000 * 0.96);
      expect(pace.readyAfterMs).toBeLessThanOrEqual(1_005 * 0.97);
      frame(pace, 1_000, pace.readyAfterMs ?? 0);
    }
  });

  it("finds a camera that became faster within two frames", () => {
    const pace = new ReadoutPace();
    frame(pace, 1_000, 1_000);
    frame(pace, 1_000, pace.readyAfterMs ?? 0);
    frame(pace, 600, pace.readyAfterMs ?? 0);
    frame(pace, 600, pace.readyAfterMs ?? 0);
    expect(pace.readyAfterMs).toBeGreaterThan(560);
    expect(pace.readyAfterMs).toBeLessThanOrEqual(605 * 0.97);
  });

  it("follows a camera that becomes slower at once", () => {
    const pace = new ReadoutPace();
    frame(pace, 300, 400);
    frame(pace, 2_000, pace.readyAfterMs ?? 0);
    expect(pace.readyAfterMs).toBeGreaterThan(1_900);
  });

  it("learns nothing from an opening that was late by the interval's wish", () => {
    const pace = new ReadoutPace();
    frame(pace, 500, 500);
    const before = pace.readyAfterMs;
    frame(pace, 500, 20_000);
    expect(pace.readyAfterMs).toBe(before);
  });
});
