import { describe, expect, it } from "vitest";
import { parseSkyCsv } from "../../../core/rehearsal/skyCsv.ts";

const FULL = "seconds,luminanceCdM2,peakRatio,driftDegPerSecond\n0,1e-3,2,0.1\n10,2e-3,3,0.2\n";

describe("a rehearsal file", () => {
  it("gives its columns", () => {
    const sky = parseSkyCsv(FULL);
    expect([...sky.seconds]).toEqual([0, 10]);
    expect([...sky.luminanceCdM2]).toEqual([1e-3, 2e-3]);
    expect([...sky.peakRatio]).toEqual([2, 3]);
    expect([...sky.driftDegPerSecond]).toEqual([0.1, 0.2]);
  });

  it("needs only the first two columns, and takes the sky as without structure then", () => {
    const sky = parseSkyCsv("seconds,luminanceCdM2\n0,1\n5,2");
    expect([...sky.peakRatio]).toEqual([1, 1]);
    expect([...sky.driftDegPerSecond]).toEqual([0, 0]);
  });

  it("passes over a byte-order mark, other line ends, empty lines, blanks and further columns", () => {
    const text = '\uFEFF"note", luminanceCdM2 ,seconds\r\n\r\nx, 1 , 0\r\n  \r\ny,2,5\r\n';
    const sky = parseSkyCsv(text);
    expect([...sky.seconds]).toEqual([0, 5]);
    expect([...sky.luminanceCdM2]).toEqual([1, 2]);
  });

  it.each([
    ["an empty file", "", "The sky file is empty."],
    ["only blank lines", "\n \n", "The sky file is empty."],
    ["no header", "0,1e-3\n10,1e-3\n", "has no header"],
    ["a missing column", "seconds,brightness\n0,1\n", "no column luminanceCdM2"],
    ["only a header", "seconds,luminanceCdM2\n", "no rows"],
    ["one row", "seconds,luminanceCdM2\n0,1\n", "only one row"],
    [
      "a short row",
      "seconds,luminanceCdM2\n0,1\n5\n",
      "Line 3: 1 value where the header has at least 2.",
    ],
    ["a missing value", "seconds,luminanceCdM2\n0,\n5,1\n", "Line 2: luminanceCdM2 is missing."],
    ["a blank value", "seconds,luminanceCdM2\n0, \n5,1\n", "Line 2: luminanceCdM2 is missing."],
    [
      "NaN",
      "seconds,luminanceCdM2\n0,1\n\n5,NaN\n",
      'Line 4: luminanceCdM2 is "NaN", which is not a number.',
    ],
    [
      "a word",
      "seconds,luminanceCdM2\n0,dark\n5,1\n",
      'Line 2: luminanceCdM2 is "dark", which is not a number.',
    ],
    [
      "a negative value",
      "seconds,luminanceCdM2\n0,1\n5,-1\n",
      "Line 3: luminanceCdM2 must be a number above 0.",
    ],
    [
      "unsorted rows",
      "seconds,luminanceCdM2\n0,1\n9,1\n5,1\n",
      "Line 4: seconds must rise, but 5 comes after 9.",
    ],
  ])("answers %s with one sentence", (_name, text, sentence) => {
    expect(() => parseSkyCsv(text)).toThrowError(
      expect.objectContaining({
        code: "sky.file_invalid",
        message: expect.stringContaining(sentence) as string,
      }),
    );
  });

  it("reads a million rows", () => {
    const rows = Array.from(
      { length: 1_000_000 },
      (_, index) => `${index / 25},0.00${1 + (index % 9)}`,
    );
    const sky = parseSkyCsv(`seconds,luminanceCdM2\n${rows.join("\n")}\n`);
    expect(sky.seconds.length).toBe(1_000_000);
    expect(sky.seconds.at(-1)).toBe(39_999.96);
  });
});
