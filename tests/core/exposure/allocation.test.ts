import fc from "../../support/properties.ts";
import { describe, expect, it } from "vitest";
import { allocate, asAsked, secondsIsoFor, timeLimits } from "../../../core/exposure/allocation.ts";
import { stopsFromMidGrey } from "../../../core/exposure/exposure.ts";
import { usableIsos } from "../../../core/exposure/ladder.ts";
import { DEFAULT_EXPOSURE_SETTINGS } from "../../../core/exposure/settings.ts";

const settings = { ...DEFAULT_EXPOSURE_SETTINGS, isoLadder: [100, 200, 400, 800, 1600, 3200] };
const free = { curtainSeconds: Infinity, heldIso: null };

describe("splitting a dose into time and ISO", () => {
  it("takes the longest exposure at the lowest ISO that this leaves", () => {
    expect(allocate(12 * 800, free, settings)).toEqual({
      exposureSeconds: 12,
      iso: 800,
      limit: "none",
      isReachable: true,
    });
  });

  it("meets an ISO step by exactly half the time", () => {
    const long = allocate(8 * 1600, { ...free, heldIso: 1600 }, settings);
    const short = allocate(8 * 1600, { curtainSeconds: 4.5, heldIso: 1600 }, settings);
    expect(long.exposureSeconds / short.exposureSeconds).toBe(2);
    expect(short.iso / long.iso).toBe(2);
    expect(short.limit).toBe("curtains");
  });

  it("lets brightness win over the curtains when ISO is at its cap", () => {
    const split = allocate(10 * 3200, { curtainSeconds: 2, heldIso: null }, settings);
    expect(split).toEqual({ exposureSeconds: 10, iso: 3200, limit: "isoCap", isReachable: true });
  });

  it("never goes beyond the star-trail limit for brightness", () => {
    const split = allocate(60 * 3200, { curtainSeconds: 2, heldIso: null }, settings);
    expect(split).toEqual({ exposureSeconds: 15, iso: 3200, limit: "longest", isReachable: false });
  });

  it("says when even the shortest exposure at the lowest ISO is too much", () => {
    const split = allocate(20, free, settings);
    expect(split).toEqual({
      exposureSeconds: 0.5,
      iso: 100,
      limit: "shortest",
      isReachable: false,
    });
  });

  it("names the lowest ISO as the limit while the exposure is shorter than it might be", () => {
    expect(allocate(300, free, settings).limit).toBe("isoFloor");
  });

  it("leaves the camera its time within a fixed interval", () => {
    const paced = { ...settings, intervalSeconds: 6, busySeconds: 1.5 };
    expect(timeLimits(paced)).toEqual({ min: 0.5, max: 4.5 });
    expect(allocate(60 * 100, free, paced)).toMatchObject({ exposureSeconds: 3.75, iso: 1600 });
  });

  it("holds ISO until a rung and a third of a stop can be saved", () => {
    const heldIso = 1600;
    // 15 s at ISO 800 would just do: saving the rung would leave no room.
    expect(allocate(15 * 800, { ...free, heldIso }, settings).iso).toBe(1600);
    expect(allocate(15 * 800 * 2 ** -0.3, { ...free, heldIso }, settings).iso).toBe(1600);
    expect(allocate(15 * 800 * 2 ** -0.4, { ...free, heldIso }, settings).iso).toBe(800);
  });

  it("does not flap when the dose sways by a quarter of a stop about a rung", () => {
    let heldIso: number | null = null;
    const isos = new Set<number>();
    for (let frame = 0; frame < 100; frame += 1) {
      const dose = 15 * 800 * 2 ** (0.25 * Math.sin(frame));
      heldIso = allocate(dose, { ...free, heldIso }, settings).iso;
      if (frame > 10) isos.add(heldIso);
    }
    expect(isos.size).toBe(1);
  });

  it("keeps an exposure that was asked for", () => {
    expect(asAsked({ exposureSeconds: 4, iso: 800 }, settings)).toMatchObject({
      exposureSeconds: 4,
      iso: 800,
    });
  });

  it("splits what was asked for beyond the limits: 943 s at ISO 100 become 14.7 s at ISO 6400", () => {
    const split = asAsked({ exposureSeconds: 943, iso: 100 }, DEFAULT_EXPOSURE_SETTINGS);
    expect(split.iso).toBe(6400);
    expect(split.exposureSeconds).toBeCloseTo(14.73, 2);
    const bright = asAsked({ exposureSeconds: 0.1, iso: 800 }, DEFAULT_EXPOSURE_SETTINGS);
    expect(bright.iso * bright.exposureSeconds).toBeCloseTo(80, 6);
  });

  it("stays within the limits for every dose, limit and held ISO", () => {
    fc.assert(
      fc.property(
        fc.double({ min: 1e-6, max: 1e9, noNaN: true }),
        fc.double({ min: 0.001, max: 100, noNaN: true }),
        fc.constantFrom(null, 100, 800, 3200, 5000),
        fc.double({ min: 0.01, max: 60, noNaN: true }),
        fc.double({ min: 0.01, max: 60, noNaN: true }),
        fc.double({ min: 0, max: 30, noNaN: true }),
        (dose, curtainSeconds, heldIso, a, b, intervalSeconds) => {
          const limits = {
            ...settings,
            exposureSecondsMin: Math.min(a, b),
            exposureSecondsMax: Math.max(a, b),
            intervalSeconds,
          };
          const split = allocate(dose, { curtainSeconds, heldIso }, limits);
          expect(split.exposureSeconds).toBeGreaterThanOrEqual(limits.exposureSecondsMin);
          expect(split.exposureSeconds).toBeLessThanOrEqual(limits.exposureSecondsMax);
          expect(usableIsos(limits.isoLadder, limits)).toContain(split.iso);
          if (split.isReachable) {
            expect((split.exposureSeconds * split.iso) / dose).toBeCloseTo(1, 6);
          }
        },
      ),
    );
  });

  it("gives the dose that records a sky at the wanted brightness", () => {
    const dose = secondsIsoFor(Math.log2(1e-3), -2, settings);
    const exposure = { exposureSeconds: dose / 1600, iso: 1600, fNumber: settings.fNumber };
    expect(stopsFromMidGrey(1e-3, exposure)).toBeCloseTo(-2, 12);
  });
});
