import { describe, expect, it } from "vitest";
import {
  createSky,
  DEMO_NIGHT,
  driftDegPerSecond,
  HUT_SEVEN,
  skyLuminanceCdM2,
  type SkyScenario,
} from "../../../core/simulation/sky.ts";
import { meteredLuminanceCdM2, peakRatio } from "../../support/meteredSky.ts";
import { driftingCurtainScene, SCENE_START_UTC_MS, uniformScene } from "../../support/scenes.ts";
import { moonPosition, sunPosition } from "../../../core/sky/ephemeris.ts";
import type { UtcMs } from "../../../core/units.ts";

const skyOf = (scenario: SkyScenario, seed = "sky") =>
  createSky({ seed, place: HUT_SEVEN, ...DEMO_NIGHT, scenario });

const at = (share: number): UtcMs =>
  (DEMO_NIGHT.startUtcMs + share * DEMO_NIGHT.durationSeconds * 1000) as UtcMs;

describe("the demo night", () => {
  const place = { ...HUT_SEVEN, elevationM: 0 };
  const sky = skyOf("demo");

  it("runs from the Sun at −6° to the Sun at −6°, to a quarter of a degree", () => {
    expect(Math.abs(sunPosition(at(0), place).altitudeDeg + 6)).toBeLessThan(0.25);
    expect(Math.abs(sunPosition(at(1), place).altitudeDeg + 6)).toBeLessThan(0.25);
  });

  it("has its Moon below the horizon at dusk and above it at dawn", () => {
    expect(moonPosition(at(0), place).altitudeDeg).toBeLessThan(0);
    expect(moonPosition(at(1), place).altitudeDeg).toBeGreaterThan(20);
  });

  it("is brightest at its ends, dark between, and three stops up in the breakup", () => {
    const [dusk, quiet, dawn] = [at(0), at(0.27), at(1)].map((time) =>
      meteredLuminanceCdM2(sky, time),
    );
    expect(dusk!).toBeGreaterThan(0.3);
    expect(dawn!).toBeGreaterThan(0.3);
    expect(quiet!).toBeLessThan(1.5e-3);
    let brightest = 0;
    for (let share = 0.36; share < 0.4; share += 0.002) {
      brightest = Math.max(brightest, meteredLuminanceCdM2(sky, at(share)));
    }
    expect(Math.log2(brightest / quiet!)).toBeGreaterThan(3);
  });

  it("has livelier curtains in the breakup than in the quiet before", () => {
    expect(driftDegPerSecond(sky, at(0.38))).toBeGreaterThan(2 * driftDegPerSecond(sky, at(0.2)));
  });
});

describe("a sky", () => {
  it("is the same for the same seed and another for another", () => {
    const time = at(0.3);
    expect(meteredLuminanceCdM2(skyOf("demo"), time)).toBe(
      meteredLuminanceCdM2(skyOf("demo"), time),
    );
    expect(meteredLuminanceCdM2(skyOf("demo", "other"), time)).not.toBe(
      meteredLuminanceCdM2(skyOf("demo"), time),
    );
  });

  it("answers the same whatever it was asked before", () => {
    const sky = skyOf("breakup");
    const first = meteredLuminanceCdM2(sky, at(0.46));
    meteredLuminanceCdM2(sky, at(0.9));
    expect(meteredLuminanceCdM2(sky, at(0.46))).toBe(first);
  });

  it.each(["demo", "quiet", "breakup", "double", "pulsating", "storm", "cloudy"] as const)(
    "of the scenario %s has light everywhere and a peak of at least its mean",
    (scenario) => {
      const sky = skyOf(scenario);
      for (const share of [0, 0.33, 0.62, 0.97]) {
        expect(meteredLuminanceCdM2(sky, at(share))).toBeGreaterThan(1e-4);
        expect(peakRatio(sky, at(share))).toBeGreaterThanOrEqual(1);
        expect(peakRatio(sky, at(share))).toBeLessThan(40);
      }
    },
  );

  it("is darker toward the zenith than at the horizon's glow, and dark before it is bright", () => {
    const sky = skyOf("quiet");
    const zenith = skyLuminanceCdM2(sky, at(0.35), 89, 0);
    const low = skyLuminanceCdM2(sky, at(0.35), 4, HUT_SEVEN.azimuthDeg - 33);
    expect(low).toBeGreaterThan(1.5 * zenith);
    expect(zenith).toBeGreaterThan(1e-4);
    expect(zenith).toBeLessThan(2e-3);
  });

  it("is dimmed and evened out by a closed cloud", () => {
    const cloudy = skyOf("cloudy");
    expect(peakRatio(cloudy, at(0.8))).toBeLessThan(peakRatio(skyOf("breakup"), at(0.5)));
  });

  it("looks south from the southern hemisphere and sees its arcs there", () => {
    const sky = createSky({
      seed: 1,
      place: { latitudeDeg: -52, longitudeDeg: 169, azimuthDeg: 170, altitudeDeg: 20 },
      startUtcMs: Date.UTC(2026, 4, 16, 8) as UtcMs,
      durationSeconds: 36_000,
      scenario: "quiet",
    });
    const time = Date.UTC(2026, 4, 16, 12) as UtcMs;
    let [south, north] = [0, 0];
    for (let altitude = 8; altitude < 30; altitude += 2) {
      south = Math.max(south, skyLuminanceCdM2(sky, time, altitude, 170));
      north = Math.max(north, skyLuminanceCdM2(sky, time, altitude, 350));
    }
    // These arcs stand at 17°: the air takes half of their light, 1.3 without it.
    expect(south).toBeGreaterThan(1.15 * north);
  });

  it("of a scene says what the scene was built from", () => {
    const even = uniformScene({ luminanceCdM2: 3e-3 });
    expect(meteredLuminanceCdM2(even, SCENE_START_UTC_MS)).toBeCloseTo(3e-3, 9);
    expect(peakRatio(even, SCENE_START_UTC_MS)).toBeCloseTo(1, 6);
    expect(driftDegPerSecond(even, SCENE_START_UTC_MS)).toBe(0);
    const moving = driftingCurtainScene({ degPerSecond: -0.3, luminanceCdM2: 1e-3 });
    expect(driftDegPerSecond(moving, SCENE_START_UTC_MS)).toBe(0.3);
  });

  it.each([
    [{ place: { ...HUT_SEVEN, latitudeDeg: 91 } }],
    [{ place: { ...HUT_SEVEN, azimuthDeg: NaN } }],
    [{ durationSeconds: 0 }],
    [{ durationSeconds: Infinity }],
  ])("refuses %j in one sentence", (wrong) => {
    expect(() =>
      createSky({ seed: 1, place: HUT_SEVEN, ...DEMO_NIGHT, scenario: "demo", ...wrong }),
    ).toThrowError(expect.objectContaining({ code: "quantity.out_of_range" }) as Error);
  });
});
