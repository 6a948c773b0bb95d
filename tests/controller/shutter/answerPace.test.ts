import { describe, expect, it } from "vitest";
import { AnswerPace } from "../../../controller/shutter/answerPace.ts";

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
