import { describe, expect, it } from "vitest";
import { altitudeMarks, shareOfAltitude, timeMarks } from "../../../core/frames/keogramAxes.ts";
import { altitudeAt } from "../../support/altitudeAt.ts";

const FRAMING = { altitudeDeg: 30, azimuthDeg: 0, focalLengthMm: 24, pictureHeightMm: 24 };

describe("keogram axes", () => {
  it("put the middle at the camera's altitude and the top 26.565 degrees above it", () => {
    expect(altitudeAt(FRAMING, 0.5)).toBe(30);
    // tan⁻¹(12 mm / 24 mm) by the pinhole projection.
    expect(altitudeAt(FRAMING, 0)).toBeCloseTo(56.565, 3);
    expect(altitudeAt(FRAMING, 1)).toBeCloseTo(3.435, 3);
  });

  it("find a height again from its altitude, and none outside the picture", () => {
    for (const share of [0, 0.2, 0.77, 1]) {
      expect(shareOfAltitude(FRAMING, altitudeAt(FRAMING, share))).toBeCloseTo(share, 9);
    }
    expect(shareOfAltitude(FRAMING, 70)).toBeNull();
    expect(shareOfAltitude(FRAMING, -80)).toBeNull();
  });

  it("mark every ten degrees in the picture, higher ones further up", () => {
    const marks = altitudeMarks(FRAMING);
    expect(marks.map((mark) => mark.label)).toEqual(["10°", "20°", "30°", "40°", "50°"]);
    expect(marks[4]!.at).toBeLessThan(marks[0]!.at);
  });

  it("mark whole hours of a night in UT", () => {
    const start = Date.UTC(2026, 0, 10, 20, 20);
    const marks = timeMarks(start, start + 8 * 3_600_000, 12);
    expect(marks.map((mark) => mark.label).slice(0, 3)).toEqual(["21:00", "22:00", "23:00"]);
    expect(marks[0]!.at).toBeCloseTo(40 / 480, 9);
    const short = timeMarks(start, start + 27_000, 8).map((mark) => mark.label);
    expect(short).toEqual(["20:20:00", "20:20:05", "20:20:10", "20:20:15", "20:20:20", "20:20:25"]);
    expect(timeMarks(start, start, 12).length).toBeLessThanOrEqual(1);
  });
});
