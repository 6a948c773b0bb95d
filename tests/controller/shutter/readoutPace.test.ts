import { describe, expect, it } from "vitest";
import { ReadoutPace } from "../../../controller/shutter/readoutPace.ts";

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
