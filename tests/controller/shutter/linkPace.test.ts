import { describe, expect, it } from "vitest";
import { LinkPace, SMALL_PIECE_BYTES } from "../../../controller/shutter/linkPace.ts";

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
