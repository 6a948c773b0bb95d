import { describe, expect, it } from "vitest";
import {
  LinkSpeed,
  SMALL_PIECE_BYTES,
  AnswerDelay,
  ReadoutTime,
} from "../../../controller/shutter/linkSpeed.ts";

describe("the speed of a link", () => {
  it("takes the usual round trip from the middle and the worst from twice the longest", () => {
    const speed = new LinkSpeed();
    for (const durationMs of [2, 3, 40, 2.5, 3.5]) speed.noteRoundTrip(durationMs);
    expect(speed.roundTripMs).toBe(3);
    expect(speed.roundTripMsMax).toBe(80);
  });

  it("never trusts a round trip to be surely shorter than 3 ms", () => {
    const speed = new LinkSpeed();
    speed.noteRoundTrip(0.1);
    expect(speed.roundTripMsMax).toBe(3);
  });

  it("forgets a hiccup after fifteen better ones", () => {
    const speed = new LinkSpeed();
    speed.noteRoundTrip(400);
    for (let count = 0; count < 15; count += 1) speed.noteRoundTrip(5);
    expect(speed.roundTripMsMax).toBe(10);
  });

  it("asks for half of what the slowest of the latest pieces would bring", () => {
    const speed = new LinkSpeed();
    speed.notePiece({ bytes: 1_000_000, durationMs: 10 }); // 100 kB/ms
    speed.notePiece({ bytes: 1_000_000, durationMs: 50 }); // 20 kB/ms
    expect(speed.bytesWithin(23)).toBe(20 * 10_000);
    expect(speed.msFor(200_000)).toBeCloseTo(23, 6);
  });

  it("starts with a small piece on an unknown link and wants 36 ms for it", () => {
    const speed = new LinkSpeed();
    expect(speed.bytesWithin(1)).toBe(SMALL_PIECE_BYTES);
    expect(speed.msFor(SMALL_PIECE_BYTES)).toBeCloseTo(3 + 16_384 / 500, 6);
  });

  it("never asks for more than 4 MiB at once", () => {
    const speed = new LinkSpeed();
    speed.notePiece({ bytes: 1 << 20, durationMs: 0 });
    expect(speed.bytesWithin(60_000)).toBe(4 << 20);
  });
});

/** What is taken off the last of these answers, each sent at 0 ms. */
function takenOff(...tookMs: readonly number[]): number {
  const speed = new AnswerDelay();
  return tookMs.map((answeredMs) => speed.noteAnswer({ sentMs: 0, answeredMs })).at(-1)!;
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
function frame(speed: ReadoutTime, readoutMs: number, firstTryMs: number): void {
  speed.noteClosed(0);
  let atMs = firstTryMs;
  for (; atMs < readoutMs; atMs += 5) speed.noteBusy();
  speed.noteOpened(atMs);
}

describe("the readout's speed", () => {
  it("knows nothing before the first frame", () => {
    expect(new ReadoutTime().readyAfterMs).toBeNull();
  });

  it("comes within 5 ms and 3 % of a readout of 1 s by the fourth frame when the first try came at 8 s", () => {
    const speed = new ReadoutTime();
    frame(speed, 1_000, 8_000);
    for (let count = 0; count < 4; count += 1) frame(speed, 1_000, speed.readyAfterMs ?? 8_000);
    for (let count = 0; count < 20; count += 1) {
      expect(speed.readyAfterMs).toBeGreaterThan(1_000 * 0.96);
      expect(speed.readyAfterMs).toBeLessThanOrEqual(1_005 * 0.97);
      frame(speed, 1_000, speed.readyAfterMs ?? 0);
    }
  });

  it("finds a camera that became faster within two frames", () => {
    const speed = new ReadoutTime();
    frame(speed, 1_000, 1_000);
    frame(speed, 1_000, speed.readyAfterMs ?? 0);
    frame(speed, 600, speed.readyAfterMs ?? 0);
    frame(speed, 600, speed.readyAfterMs ?? 0);
    expect(speed.readyAfterMs).toBeGreaterThan(560);
    expect(speed.readyAfterMs).toBeLessThanOrEqual(605 * 0.97);
  });

  it("follows a camera that becomes slower at once", () => {
    const speed = new ReadoutTime();
    frame(speed, 300, 400);
    frame(speed, 2_000, speed.readyAfterMs ?? 0);
    expect(speed.readyAfterMs).toBeGreaterThan(1_900);
  });

  it("learns nothing from an opening that was late by the interval's wish", () => {
    const speed = new ReadoutTime();
    frame(speed, 500, 500);
    const before = speed.readyAfterMs;
    frame(speed, 500, 20_000);
    expect(speed.readyAfterMs).toBe(before);
  });
});
