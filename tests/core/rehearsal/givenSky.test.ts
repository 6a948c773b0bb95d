import { describe, expect, it } from "vitest";
import { readSky, skyFromColumns } from "../../../core/rehearsal/givenSky.ts";

function sky(rows: readonly (readonly [number, number, number?, number?])[]) {
  return skyFromColumns({
    seconds: Float64Array.from(rows, ([seconds]) => seconds),
    luminanceCdM2: Float64Array.from(rows, ([, luminance]) => luminance),
    peakRatio: Float64Array.from(rows, ([, , peak]) => peak ?? 1),
    driftDegPerSecond: Float64Array.from(rows, ([, , , drift]) => drift ?? 0),
  });
}

describe("a rehearsal's sky", () => {
  it("gives the exact mean of a ramp over any window", () => {
    const reader = readSky(
      sky([
        [0, 1],
        [10, 11],
      ]),
    );
    expect(reader.window(0, 10).meanCdM2).toBeCloseTo(6, 12);
    expect(reader.window(2, 5).meanCdM2).toBeCloseTo(4.5, 12);
    expect(reader.luminanceAt(7.5)).toBeCloseTo(8.5, 12);
  });

  it("adds up windows over many rows like the whole", () => {
    const rows = Array.from({ length: 500 }, (_, index) => [index / 7, 1 + (index % 13)] as const);
    const whole = readSky(sky(rows)).window(1, 61).meanCdM2;
    const reader = readSky(sky(rows));
    let sum = 0;
    for (let at = 1; at < 61; at += 1) sum += reader.window(at, at + 1).meanCdM2;
    expect(sum / 60).toBeCloseTo(whole, 10);
  });

  it("weights the peak ratio by the light and the drift by the time", () => {
    const window = readSky(
      sky([
        [0, 1, 2, 0],
        [10, 3, 6, 1],
      ]),
    ).window(0, 10);
    // ∫(1 + 2x)(2 + 4x) dx over 0..1 = 2 + 4 + 8/3; over ∫(1 + 2x) dx = 2.
    expect(window.peakRatio).toBeCloseTo((2 + 4 + 8 / 3) / 2, 12);
    expect(window.driftDegPerSecond).toBeCloseTo(0.5, 12);
  });

  it("takes two rows of one second as a sudden step", () => {
    const reader = readSky(
      sky([
        [0, 1],
        [5, 1],
        [5, 8],
        [10, 8],
      ]),
    );
    expect(reader.window(4, 6).meanCdM2).toBeCloseTo(4.5, 12);
    expect(reader.window(5, 6).meanCdM2).toBeCloseTo(8, 12);
    expect(reader.window(1, 5).meanCdM2).toBeCloseTo(1, 12);
  });

  it("stands still before its first row and after its last", () => {
    const reader = readSky(
      sky([
        [10, 2],
        [20, 4],
      ]),
    );
    expect(reader.window(0, 5).meanCdM2).toBeCloseTo(2, 12);
    expect(reader.window(18, 24).meanCdM2).toBeCloseTo((3.8 * 2 + 4 * 4) / 6, 12);
    expect(reader.luminanceAt(99)).toBe(4);
  });

  it("can look back after it has looked ahead", () => {
    const reader = readSky(
      sky([
        [0, 1],
        [10, 11],
        [20, 1],
      ]),
    );
    expect(reader.window(15, 16).meanCdM2).toBeCloseTo(5.5, 12);
    expect(reader.window(1, 2).meanCdM2).toBeCloseTo(2.5, 12);
  });

  it.each([
    ["no rows", [], "no rows"],
    ["one row", [[0, 1]], "only one row"],
    [
      "falling seconds",
      [
        [0, 1],
        [5, 1],
        [4, 1],
      ],
      "row 3: seconds must rise, but 4 comes after 5",
    ],
    [
      "seconds that are none",
      [
        [NaN, 1],
        [5, 1],
      ],
      "row 1: seconds",
    ],
    [
      "no duration",
      [
        [5, 1],
        [5, 2],
      ],
      "no time",
    ],
    [
      "darkness",
      [
        [0, 1],
        [5, 0],
      ],
      "row 2: luminanceCdM2 must be a number above 0",
    ],
    [
      "negative light",
      [
        [0, -1],
        [5, 1],
      ],
      "row 1: luminanceCdM2",
    ],
    [
      "light that is none",
      [
        [0, 1],
        [5, NaN],
      ],
      "row 2: luminanceCdM2",
    ],
    [
      "endless light",
      [
        [0, 1],
        [5, Infinity],
      ],
      "row 2: luminanceCdM2",
    ],
    [
      "a peak below the mean",
      [
        [0, 1, 0.9],
        [5, 1],
      ],
      "row 1: peakRatio",
    ],
    [
      "a negative drift",
      [
        [0, 1],
        [5, 1, 1, -0.1],
      ],
      "row 2: driftDegPerSecond",
    ],
  ] as const)("refuses %s with a sentence that names the row", (_name, rows, sentence) => {
    expect(() => sky(rows)).toThrowError(
      expect.objectContaining({
        code: "sky.file_invalid",
        message: expect.stringContaining(sentence) as string,
      }),
    );
  });

  it("bridges a gap linearly and says so", () => {
    const rows = [
      ...Array.from({ length: 50 }, (_, index) => [index, 1] as const),
      [1849, 3] as const,
    ];
    const gappy = sky(rows);
    expect(gappy.remarks).toEqual(["row 51: 1800 s without a row, bridged linearly"]);
    expect(readSky(gappy).luminanceAt(949)).toBeCloseTo(2, 12);
  });

  it("does not call evenly sparse rows a gap", () => {
    expect(
      sky([
        [0, 1],
        [600, 1],
        [1200, 1],
      ]).remarks,
    ).toEqual([]);
  });
});
