import { describe, expect, it } from "vitest";
import { createRandom } from "../../../core/random.ts";
import { extinctionMagAt, lifted, straightened } from "../../../core/simulation/air.ts";
import { FULL_FRAME_SENSOR, renderFrame, TONE_CURVES } from "../../../core/simulation/render.ts";
import { starScene, SCENE_START_UTC_MS } from "../../support/scenes.ts";
import type { SimulatedSky } from "../../../core/simulation/simulatedSky.ts";
import { createSky, DEMO_NIGHT, HUT_SEVEN } from "../../../core/simulation/sky.ts";
import { lightToward } from "../../../core/simulation/skyLight.ts";
import { pointOf, viewOf } from "../../../core/simulation/view.ts";
import { airmass } from "../../../core/sky/airmass.ts";
import { directionOf } from "../../../core/sky/direction.ts";
import { trueAltitudeDeg } from "../../../core/sky/refraction.ts";
import type { UtcMs } from "../../../core/units.ts";

describe("airmass", () => {
  // Rozenberg's own values: 1 overhead, about 2 at 30°, about 40 on the horizon (from memory).
  it("is 1 overhead, 2 at 30° and finite on the horizon", () => {
    expect(airmass(1)).toBeCloseTo(1, 3);
    expect(airmass(0.5)).toBeCloseTo(2, 1);
    expect(airmass(0)).toBeCloseTo(40, 6);
    expect(airmass(-0.2)).toBeCloseTo(40, 6);
  });
});

describe("extinction", () => {
  // Hayes and Latham 1975: Rayleigh's part at sea level, 0.30 mag at 428 nm and 0.061 at 630 nm
  // (computed from their formula, from memory).
  it.each([
    [427.8, 0.298],
    [557.7, 0.101],
    [630, 0.0614],
  ])("of clean air at %d nm is %d mag, to 0.003", (nanometres, magnitudes) => {
    expect(Math.abs(extinctionMagAt(nanometres, 0.101) - magnitudes)).toBeLessThan(0.003);
  });

  it("is what is stated at the green line, hazy or clean", () => {
    for (const stated of [0.05, 0.2, 0.6]) expect(extinctionMagAt(557.7, stated)).toBe(stated);
  });
});

describe("what is seen through air", () => {
  it("is lifted and set back to the same direction, overhead too", () => {
    for (const altitude of [0.5, 8, 40, 90]) {
      const seen = lifted(straightened(directionOf(30, altitude)));
      directionOf(30, altitude).forEach((part, axis) => expect(seen[axis]).toBeCloseTo(part, 7));
    }
  });

  const night = createSky({ seed: "air", place: HUT_SEVEN, ...DEMO_NIGHT, scenario: "quiet" });
  const atUtcMs = (DEMO_NIGHT.startUtcMs + 3 * 3_600_000) as UtcMs;
  const auroraThrough = (extinctionMag: number, altitudeDeg: number): Float32Array => {
    const clear = { ...night.clear!, extinctionMag };
    const direction = [directionOf(345, altitudeDeg)];
    const without = lightToward({ ...night, clear, aurora: null }, direction, atUtcMs);
    return lightToward({ ...night, clear }, direction, atUtcMs).map(
      (part, channel) => part - without[channel]!,
    );
  };

  // 0.2 mag an airmass: 4.7 airmasses at 12°, 3.4 at 17°. The red line's share, of which a little
  // is seen in the green, is dimmed less.
  it.each([
    [12, 0.93],
    [17, 0.68],
    [40, 0.31],
  ])("is aurora at %d° dimmed by %d mag in the green, to 0.08", (altitudeDeg, magnitudes) => {
    const [clean, hazy] = [auroraThrough(0, altitudeDeg), auroraThrough(0.2, altitudeDeg)];
    const dimmed = -2.5 * Math.log10(hazy[1]! / clean[1]!);
    expect(Math.abs(dimmed - magnitudes)).toBeLessThan(0.08);
  });

  it("is aurora reddened: at 12° the blue loses 0.4 mag more than the red at least", () => {
    const [clean, hazy] = [auroraThrough(0, 12), auroraThrough(0.2, 12)];
    const lost = (channel: number): number => -2.5 * Math.log10(hazy[channel]! / clean[channel]!);
    expect(lost(2) - lost(0)).toBeGreaterThan(0.4);
  });
});

describe("a star near the horizon", () => {
  const place = { ...HUT_SEVEN, azimuthDeg: 40, altitudeDeg: 12 };
  const [widthPx, heightPx] = [600, 400];
  const scene = starScene({ place, stars: [{ azimuthDeg: 40, altitudeDeg: 3, magnitude: 0 }] });
  const air: SimulatedSky["clear"] = {
    ...{ zenithMag: 26, extinctionMag: 0.2, town: null },
    ...{ hasTwilight: false, hasMoon: false, hasMilkyWay: false },
  };

  const brightestRow = (sky: SimulatedSky): number => {
    const { rgb } = renderFrame({
      ...{ sky, openedUtcMs: SCENE_START_UTC_MS, widthPx, heightPx },
      exposure: { exposureSeconds: 4, iso: 400, fNumber: 2.8 },
      lens: { focalLengthMm: 50 },
      sensor: { ...FULL_FRAME_SENSOR, hotPixelCount: 0 },
      toneCurve: TONE_CURVES.mild,
      random: createRandom("star"),
    });
    let [best, row] = [0, 0];
    for (let pixel = 0; pixel < widthPx * heightPx; pixel += 1) {
      const sum = rgb[pixel * 3]! + rgb[pixel * 3 + 1]! + rgb[pixel * 3 + 2]!;
      if (sum > best) [best, row] = [sum, Math.floor(pixel / widthPx)];
    }
    return row;
  };

  it("is seen where the air lifts it, 14′ higher at 3°, and without air where it stands", () => {
    const view = viewOf({ centre: place, focalLengthMm: 50, sensorWidthMm: 36, widthPx, heightPx });
    const rowAt = (altitudeDeg: number): number => pointOf(view, directionOf(40, altitudeDeg))![1];
    let seenDeg = 3;
    while (trueAltitudeDeg(seenDeg) < 3) seenDeg += 0.001;
    expect(60 * (seenDeg - 3)).toBeCloseTo(14, 0);
    expect(Math.abs(brightestRow(scene) + 0.5 - rowAt(3))).toBeLessThan(1);
    expect(Math.abs(brightestRow({ ...scene, clear: air }) + 0.5 - rowAt(seenDeg))).toBeLessThan(1);
  });
});
