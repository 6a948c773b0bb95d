import { describe, expect, it } from "vitest";
import { cloudTransmission, type CloudLayer } from "../../../core/simulation/clouds.ts";
import { silhouetteDeg, spruceShore, waterMirror } from "../../../core/simulation/foreground.ts";
import { grainTable, noiseAt, noiseLine } from "../../../core/simulation/noise.ts";
import { directionOf, dot } from "../../../core/sky/direction.ts";
import { directionAt, pointOf, viewOf } from "../../../core/simulation/view.ts";

const VIEW = viewOf({
  centre: { azimuthDeg: 345, altitudeDeg: 27 },
  focalLengthMm: 16,
  sensorWidthMm: 36,
  widthPx: 1500,
  heightPx: 1000,
});

describe("a view", () => {
  it("looks at its centre in the middle and finds every point again", () => {
    expect(dot(directionAt(VIEW, 750, 500), directionOf(345, 27))).toBeCloseTo(1, 12);
    for (const [x, y] of [
      [0, 0],
      [1500, 1000],
      [320, 777],
    ] as const) {
      const [backX, backY] = pointOf(VIEW, directionAt(VIEW, x, y))!;
      expect(backX).toBeCloseTo(x, 6);
      expect(backY).toBeCloseTo(y, 6);
    }
  });

  it("has the field of a 16 mm lens on 36 mm: 96.7° across", () => {
    const left = directionAt(VIEW, 0, 500);
    const right = directionAt(VIEW, 1500, 500);
    expect((Math.acos(dot(left, right)) * 180) / Math.PI).toBeCloseTo(96.73, 1);
  });

  it("keeps the horizon level and east to the right of north", () => {
    expect(directionAt(VIEW, 100, 500)[2]).toBeCloseTo(directionAt(VIEW, 1400, 500)[2], 9);
    const [x] = pointOf(VIEW, directionOf(5, 20))!;
    expect(x).toBeGreaterThan(750);
  });

  it("sees nothing behind the camera", () => {
    expect(pointOf(VIEW, directionOf(165, 10))).toBeNull();
  });
});

describe("a spruce shore", () => {
  const shore = spruceShore("seed", 345);

  it("rises above the horizon all around, never above 14°", () => {
    for (let azimuth = 0; azimuth < 360; azimuth += 0.5) {
      expect(silhouetteDeg(shore, azimuth)).toBeGreaterThan(0);
      expect(silhouetteDeg(shore, azimuth)).toBeLessThan(14);
    }
  });

  it("is the same for the same seed and closed at north", () => {
    expect(spruceShore("seed", 345).profileDeg).toEqual(shore.profileDeg);
    expect(silhouetteDeg(shore, 359.9999)).toBeCloseTo(silhouetteDeg(shore, 0), 1);
    expect(silhouetteDeg(shore, -15)).toBe(silhouetteDeg(shore, 345));
  });

  it("has a hut with its window below its roof", () => {
    const window = shore.window!;
    const roof = silhouetteDeg(shore, window.azimuthDeg);
    expect(window.altitudeDeg + window.heightDeg / 2).toBeLessThan(roof);
    expect(window.altitudeDeg - window.heightDeg / 2).toBeGreaterThan(shore.shoreDeg);
  });

  // Fresnel for water, n = 1.33: 2 % straight down, everything at grazing.
  it("mirrors 2 % straight down and all at grazing", () => {
    expect(waterMirror(90)).toBeCloseTo(0.02, 6);
    expect(waterMirror(0)).toBe(1);
    expect(waterMirror(20)).toBeLessThan(0.2);
  });
});

describe("a cloud layer", () => {
  const layer: CloudLayer = {
    heightKm: 4,
    windMPerS: [14, 5],
    thickness: 1.5,
    scaleKm: 5,
    pattern: noiseLine("clouds"),
  };
  const around = Array.from({ length: 360 }, (_, index) =>
    directionOf(index, 10 + (index % 12) * 6),
  );
  const passed = (cover: number, atSeconds = 0): number[] =>
    around.map((direction) => cloudTransmission(layer, cover, atSeconds, direction));
  const meanOf = (values: readonly number[]): number =>
    values.reduce((sum, value) => sum + value, 0) / values.length;

  it("passes all light without cover and less the more there is", () => {
    expect(meanOf(passed(0))).toBe(1);
    const [some, much, all] = [0.3, 0.6, 1].map((cover) => meanOf(passed(cover)));
    expect(some!).toBeLessThan(1);
    expect(much!).toBeLessThan(some!);
    expect(all!).toBeLessThan(much!);
    expect(all!).toBeLessThan(0.35);
  });

  it("is carried by the wind: 14 m/s to the east in 100 s is the pattern 1.4 km further west", () => {
    const overhead = cloudTransmission(layer, 0.6, 100, [0, 0, 1]);
    const up = 1 / Math.hypot(1.4 / 4, 0.5 / 4, 1);
    const toward = cloudTransmission(layer, 0.6, 0, [(-1.4 / 4) * up, (-0.5 / 4) * up, up]);
    // The slanted path is a little longer, and the layer bends with the Earth.
    expect(Math.abs(Math.log(toward) * up - Math.log(overhead))).toBeLessThan(0.002);
  });
});

describe("noise", () => {
  it("is smooth, repeats itself, and has grain of mean 0 and deviation 1", () => {
    const line = noiseLine("seed");
    expect(noiseAt(line, 12.5)).toBe(noiseAt(line, 12.5 + 4096));
    expect(Math.abs(noiseAt(line, 7.0001) - noiseAt(line, 7))).toBeLessThan(1e-4);
    const grain = grainTable();
    const mean = grain.reduce((sum, value) => sum + value, 0) / grain.length;
    const variance = grain.reduce((sum, value) => sum + value ** 2, 0) / grain.length;
    expect(mean).toBeCloseTo(0, 6);
    expect(variance).toBeCloseTo(1, 5);
  });
});
