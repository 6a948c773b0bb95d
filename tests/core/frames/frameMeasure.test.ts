import { describe, expect, it } from "vitest";
import { measurePixels } from "../../../core/frames/frameMeasure.ts";
import { linearOfCode } from "../../../core/photometry/srgb.ts";

function plain(width: number, height: number, code: readonly [number, number, number]): Uint8Array {
  return Uint8Array.from({ length: width * height * 3 }, (_, at) => code[at % 3]!);
}

describe("measuring a frame", () => {
  it("gives the linear light of a grey picture in every cell, in stops", () => {
    const measure = measurePixels(plain(121, 67, [118, 118, 118]), 121, 67, null);
    expect(measure.cellStops).toHaveLength(12 * 8);
    for (const stops of measure.cellStops) {
      expect(stops).toBeCloseTo(Math.log2(linearOfCode(118)), 6);
    }
    expect(measure.meanStops).toBeCloseTo(Math.log2(linearOfCode(118)), 6);
    expect(measure.structure).toBeCloseTo(0, 9);
    expect(measure.colour).toBeCloseTo(0, 9);
    expect(measure.clippedShare).toBe(0);
  });

  it("leaves dark and clipped cells out and counts what is clipped", () => {
    const rgb = plain(120, 80, [118, 118, 118]);
    rgb.fill(0, 0, 120 * 10 * 3);
    for (let y = 10; y < 20; y += 1) rgb.fill(255, y * 120 * 3, y * 120 * 3 + 30);
    const measure = measurePixels(rgb, 120, 80, null);
    expect(measure.cellStops.slice(0, 12).every((stops) => stops === null)).toBe(true);
    expect(measure.cellStops[12]).toBeNull();
    expect(measure.cellStops[12 + 1]).not.toBeNull();
    expect(measure.clippedShare).toBeCloseTo(100 / 9600, 9);
  });

  it("finds a green band structured and colourful, and a blurred edge less sharp", () => {
    const grey = measurePixels(plain(120, 80, [60, 60, 60]), 120, 80, null);
    const banded = plain(120, 80, [60, 60, 60]);
    for (let y = 20; y < 30; y += 1) {
      for (let x = 0; x < 120; x += 1) banded.set([70, 200, 90], (y * 120 + x) * 3);
    }
    const band = measurePixels(banded, 120, 80, null);
    expect(band.structure).toBeGreaterThan(grey.structure + 0.5);
    expect(band.colour).toBeGreaterThan(0.3);
    const stripes = (wide: number): Uint8Array =>
      Uint8Array.from({ length: 120 * 80 * 3 }, (_, at) => {
        const x = Math.floor(at / 3) % 120;
        return 60 + Math.round(40 * Math.sin((2 * Math.PI * x) / wide));
      });
    const sharp = measurePixels(stripes(5), 120, 80, null).sharpness;
    const soft = measurePixels(stripes(40), 120, 80, null).sharpness;
    expect(sharp).toBeGreaterThan(2 * soft);
  });
});
