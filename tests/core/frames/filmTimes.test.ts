import { describe, expect, it } from "vitest";
import { filmTimes } from "../../../core/frames/filmTimes.ts";

const START_MS = Date.UTC(2026, 9, 5, 20);
const DAY_MS = 86_400_000;
/** Frames every 16 s. */
const steady = (count: number): (number | null)[] =>
  Array.from({ length: count }, (_, n) => START_MS + n * 16_000);
const isRising = (seconds: readonly number[]): boolean =>
  seconds.every((at, n) => n === 0 || at > seconds[n - 1]!);

describe("the times of a film's frames", () => {
  it("are those of the record, from 0", () => {
    expect(filmTimes(steady(4))).toEqual({ seconds: [0, 16, 32, 48], remarks: [] });
  });

  it("of a frame without one lie between its neighbours', and it is reported", () => {
    const opened = steady(6).with(2, null).with(3, null);
    const { seconds, remarks } = filmTimes(opened);
    expect(seconds).toEqual([0, 16, 32, 48, 64, 80]);
    expect(remarks).toEqual([
      { position: 2, kind: "noTime" },
      { position: 3, kind: "noTime" },
    ]);
  });

  it("of frames without one at the beginning and the end go on in the usual step", () => {
    const opened = steady(5).with(0, null).with(4, null);
    expect(filmTimes(opened).seconds).toEqual([0, 16, 32, 48, 64]);
  });

  it("rise where the clock was set back by an hour, and the frame is reported", () => {
    const opened = steady(8).map((at, n) => (n < 4 ? at : at! - 3_600_000));
    const { seconds, remarks } = filmTimes(opened);
    expect(isRising(seconds)).toBe(true);
    expect(seconds[4]! - seconds[3]!).toBe(16);
    expect(remarks).toEqual([{ position: 4, kind: "backwards" }]);
  });

  it("a year apart count as half a day apart", () => {
    const opened = steady(6).map((at, n) => (n < 3 ? at : at! + 365 * DAY_MS));
    const { seconds, remarks } = filmTimes(opened);
    expect(seconds[3]! - seconds[2]!).toBe(43_200);
    expect(remarks).toEqual([{ position: 3, kind: "longPause" }]);
  });

  it("are made up where none is known", () => {
    expect(filmTimes([null, null, null]).seconds).toEqual([0, 15, 30]);
    expect(filmTimes([])).toEqual({ seconds: [], remarks: [] });
  });
});
