import { expect, test } from "vitest";

import {
  bytesText,
  exposureTime,
  isoValue,
  luminance,
  percent,
  significant,
  stops,
} from "../../../ui/lib/format/figures.ts";
import { stretch } from "../../../ui/lib/format/time.ts";

const plain = (text: string): string => text.replaceAll("\u00a0", " ").replaceAll("\u202f", " ");

test.each([
  [7.4321, "7.43 s"],
  [15, "15 s"],
  [0.5, "0.5 s"],
  [0.0125, "0.0125 s"],
  [120, "120 s"],
])("writes an exposure of %d s as %s", (seconds, text) => {
  expect(plain(exposureTime(seconds))).toBe(text);
});

test.each([
  [0.104, "+0.10"],
  [-1.3, "−1.30"],
  [-0.001, "0.00"],
  [0, "0.00"],
])("writes %d stops as %s, with a sign only where there is one", (value, text) => {
  expect(stops(value)).toBe(text);
});

test.each([
  [0, "0 %"],
  [0.00004, "under 0.01 %"],
  [0.0031, "0.31 %"],
  [0.042, "4.2 %"],
  [1, "100 %"],
])("writes the share %d as %s: what is there never rounds down to nothing", (share, text) => {
  expect(plain(percent(share))).toBe(text);
});

test.each([
  [0.0042, "4.2 mcd/m²"],
  [0.00017, "0.17 mcd/m²"],
  [12, "12 cd/m²"],
])("writes a sky of %d cd/m² as %s", (cdM2, text) => {
  expect(plain(luminance(cdM2))).toBe(text);
});

test.each([
  [38_000, "38 s"],
  [240_000, "4 min"],
  [33_120_000, "9 h 12 min"],
  [7_200_000, "2 h"],
  [-5, "0 s"],
])("writes a stretch of %d ms as %s", (milliseconds, text) => {
  expect(stretch(milliseconds)).toBe(text);
});

test("writes ISO and bytes as they are spoken of", () => {
  expect(isoValue(1272.4)).toBe("1270");
  expect(plain(bytesText(51_000_000_000))).toBe("51 GB");
  expect(plain(bytesText(350_000))).toBe("350 kB");
  expect(significant(0, 2)).toBe("0");
});
