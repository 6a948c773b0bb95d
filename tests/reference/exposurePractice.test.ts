import { describe, expect, it } from "vitest";
import { allocate, secondsIsoFor } from "../../core/exposure/allocation.ts";
import { stopsBetween } from "../support/stopsBetween.ts";
import { curtainSecondsOf } from "../../core/exposure/limits.ts";
import { DEFAULT_EXPOSURE_SETTINGS } from "../../core/exposure/settings.ts";

// Common practice, no source: check values that photographers of the aurora go by.
describe("common practice", () => {
  const at = (exposureSeconds: number, iso: number) => ({ exposureSeconds, iso, fNumber: 2.8 });

  it.each([
    [7.5, 3200],
    [3.75, 6400],
  ])("trades 15 s at ISO 1600 for exactly %d s at ISO %d", (seconds, iso) => {
    expect(stopsBetween(at(15, 1600), at(seconds, iso))).toBeCloseTo(0, 12);
  });

  it.each([
    ["just under 10 s", 9.9, 3200],
    ["4 s", 4, 6400],
    ["5 s", 5, 6400],
  ])("is met within half a stop by the trade's %s at its ISO", (_words, seconds, iso) => {
    expect(Math.abs(stopsBetween(at(15, 1600), at(seconds, iso)))).toBeLessThan(0.5);
  });

  it("makes that trade by itself when curtains ask for 7.5 s, then 3.75 s", () => {
    const settings = { ...DEFAULT_EXPOSURE_SETTINGS, isoLadder: [800, 1600, 3200, 6400] };
    const dose = 15 * 1600;
    const split = (curtainSeconds: number) =>
      allocate(dose, { curtainSeconds, heldIso: null }, settings);
    expect(split(Infinity)).toMatchObject(pick(15, 1600));
    expect(split(7.5)).toMatchObject(pick(7.5, 3200));
    expect(split(3.75)).toMatchObject(pick(3.75, 6400));
  });

  it("keeps active curtains (1 km/s at the zenith, 0.52°/s) to 5 s or less with a wide lens", () => {
    // 110 km up, 1 km/s is 9.09 mrad/s; 16 mm over 6 µm is 2667 px/rad.
    const pxPerSecond = 9.09e-3 * (16_000 / 6);
    const motion = { kind: "measured", degPerSecond: 0.52, pxPerSecond } as const;
    const seconds = curtainSecondsOf(motion, DEFAULT_EXPOSURE_SETTINGS);
    expect(seconds).toBeLessThanOrEqual(5);
    expect(seconds).toBeGreaterThan(0.5);
  });
});

// Source: curtain speeds of Safargaleev et al. 2003 over the distance of 110 km: t = n·d·p / (v·f).
describe("time for 10 px of blur at the zenith", () => {
  it.each([
    [14, 6.0, 0.1, 4.71],
    [14, 6.0, 0.2, 2.36],
    [20, 6.0, 0.2, 1.65],
    [24, 4.36, 0.1, 2.0],
    [10, 3.92, 1, 0.43],
    [12, 3.34, 1, 0.31],
  ])("%d mm, %d µm, %d km/s: %d s", (focalLengthMm, pitchUm, kmPerSecond, seconds) => {
    const pxPerSecond = (kmPerSecond / 110) * ((focalLengthMm * 1000) / pitchUm);
    const motion = { kind: "measured", degPerSecond: 0, pxPerSecond } as const;
    expect(Math.abs(curtainSecondsOf(motion, { blurPx: 10 }) / seconds - 1)).toBeLessThan(0.02);
  });
});

// Source: ISO 12232's mid-grey, H = 10 / S; 10 kR of 557.7 nm are 1.933e-3 cd/m² (PHYSICS of IBC).
describe("exposure for mid-grey at f/2.8 and ISO 1600", () => {
  it.each([
    ["IBC I", 1.933e-4, 390],
    ["IBC II", 1.933e-3, 39],
    ["IBC III", 1.933e-2, 3.9],
    ["IBC IV", 0.1933, 0.39],
  ])("%s takes the published time", (_ibc, luminance, seconds) => {
    const dose = secondsIsoFor(Math.log2(luminance), 0, { fNumber: 2.8 });
    expect(Math.abs(dose / 1600 / seconds - 1)).toBeLessThan(0.01);
  });
});

function pick(exposureSeconds: number, iso: number) {
  return { exposureSeconds: expect.closeTo(exposureSeconds, 9) as number, iso };
}
