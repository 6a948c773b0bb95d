import { describe, expect, it } from "vitest";
import { exifDateMs } from "../../core/metadata/exifDate.ts";
import { fractionMsOf, wallMsOf, type WallFields } from "../../core/wallTime.ts";

describe("a written date and time", () => {
  it("is read as if it were UTC", () => {
    expect(wallMsOf([2026, 11, 30, 22, 15, 30])).toBe(Date.UTC(2026, 10, 30, 22, 15, 30));
    expect(wallMsOf([2028, 2, 29, 0, 0, 0])).toBe(Date.UTC(2028, 1, 29));
  });

  it.each<readonly [string, WallFields]>([
    ["31 February", [2026, 2, 31, 0, 0, 0]],
    ["29 February of a common year", [2026, 2, 29, 0, 0, 0]],
    ["month 13", [2026, 13, 1, 0, 0, 0]],
    ["day 0", [2026, 1, 0, 0, 0, 0]],
    ["24 o'clock", [2026, 1, 1, 24, 0, 0]],
    ["second 60", [2026, 1, 1, 0, 0, 60]],
    ["no number", [NaN, 1, 1, 0, 0, 0]],
  ])("is null where there is no such moment: %s", (_, fields) => {
    expect(wallMsOf(fields)).toBeNull();
  });

  it("has a fraction of any number of digits", () => {
    expect([fractionMsOf(""), fractionMsOf("5"), fractionMsOf("250")]).toEqual([0, 500, 250]);
  });
});

describe("an Exif date", () => {
  it("is read with its fraction of a second", () => {
    const wholeMs = Date.UTC(2026, 10, 30, 22, 15, 30);
    expect(exifDateMs("2026:11:30 22:15:30", "25")).toBe(wholeMs + 250);
    expect(exifDateMs("2026:11:30 22:15:30", undefined)).toBe(wholeMs);
    expect(exifDateMs("2026:11:30 22:15:30", "  ")).toBe(wholeMs);
  });

  it.each(["2026:02:31 00:00:00", "0000:00:00 00:00:00", "    :  :     :  :  ", undefined, 7])(
    "is null where %j names no moment",
    (date) => {
      expect(exifDateMs(date, "0")).toBeNull();
    },
  );
});
