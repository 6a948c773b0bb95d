import fc from "../../support/properties.ts";
import { describe, expect, it } from "vitest";
import { learn, moodOf, outlook, startForecast } from "../../../core/exposure/forecast.ts";
import { createRandom } from "../../../core/random.ts";

/** Feeds levels at a steady cadence and returns the errors of the forecasts one frame ahead. */
function follow(levelAt: (seconds: number) => number, options: { frames: number; every: number }) {
  const noise = createRandom("forecast").fork("noise");
  let forecast = startForecast();
  const errors: number[] = [];
  for (let frame = 0; frame < options.frames; frame += 1) {
    const atSeconds = frame * options.every;
    const expected = outlook(forecast, atSeconds);
    if (expected !== null) errors.push(expected.level - levelAt(atSeconds));
    const level = levelAt(atSeconds) + 0.02 * noise.normal();
    forecast = learn(forecast, { atSeconds, level, noise: 0.02 });
  }
  return { forecast, errors };
}

function rms(values: readonly number[]): number {
  return Math.sqrt(values.reduce((sum, value) => sum + value * value, 0) / values.length);
}

describe("the forecast", () => {
  it("knows nothing before the first reading", () => {
    expect(outlook(startForecast(), 10)).toBeNull();
  });

  it("expects the first reading's level after one reading", () => {
    const forecast = learn(startForecast(), { atSeconds: 5, level: -11, noise: 0.02 });
    expect(outlook(forecast, 21)!.level).toBeCloseTo(-11, 2);
  });

  it("averages the noise away on a still sky, to a quarter of it", () => {
    const { errors, forecast } = follow(() => -12, { frames: 300, every: 16 });
    expect(rms(errors.slice(50))).toBeLessThan(0.25 * 0.02 * Math.SQRT2);
    expect(moodOf(forecast)).toBe("still");
  });

  it("foresees a twilight of 0.13 stop/min, where the newest reading lags by 0.035", () => {
    const { errors } = follow((seconds) => -2 - (0.13 * seconds) / 60, { frames: 200, every: 16 });
    expect(rms(errors.slice(30))).toBeLessThan(0.015);
  });

  it("exposes for the mean of a sky that flickers at random, and says that it pulsates", () => {
    const random = createRandom("flicker");
    const levels = Array.from({ length: 400 }, () => -10 + 0.4 * random.normal());
    const { errors, forecast } = follow((seconds) => levels[Math.round(seconds / 5)]!, {
      frames: 400,
      every: 5,
    });
    // Persistence would be off by √2 × 0.4.
    expect(rms(errors.slice(60))).toBeLessThan(1.08 * 0.4);
    expect(moodOf(forecast)).toBe("pulsing");
  });

  it("follows the swing of a sky that beats every 12 s, sampled every 3 s", () => {
    const { errors } = follow((seconds) => -10 + 0.5 * Math.sin((2 * Math.PI * seconds) / 12), {
      frames: 300,
      every: 3,
    });
    expect(rms(errors.slice(60))).toBeLessThan(0.5 * 0.5 * Math.SQRT1_2);
  });

  it.each([3, -3, 5])(
    "is within 0.1 stop of the new level right after a step of %d stops",
    (step) => {
      const noise = createRandom("step").fork("noise");
      let forecast = startForecast();
      for (let frame = 0; frame <= 100; frame += 1) {
        const level = (frame === 100 ? -12 + step : -12) + 0.02 * noise.normal();
        forecast = learn(forecast, { atSeconds: frame * 14, level, noise: 0.02 });
      }
      expect(Math.abs(outlook(forecast, 101 * 14)!.level - (-12 + step))).toBeLessThan(0.1);
    },
  );

  it.each([
    [1.2, 1.75],
    [0.84, 2.5],
    [0.35, 1.62],
    [-0.88, -2.05],
    [-0.45, -1.4],
  ])(
    "takes %d stops in one frame and %d in the next for a step that fell into the first",
    (first, total) => {
      const noise = createRandom("part").fork("noise");
      let forecast = startForecast();
      for (let frame = 0; frame <= 101; frame += 1) {
        const rise = frame === 100 ? first : frame === 101 ? total : 0;
        const level = -10 + rise + 0.02 * noise.normal();
        forecast = learn(forecast, { atSeconds: frame * 14.5, level, noise: 0.02 });
      }
      expect(Math.abs(outlook(forecast, 102 * 14.5)!.level - (-10 + total))).toBeLessThan(0.1);
    },
  );

  it("goes on with an onset of 0.05 stop/s that began within a frame", () => {
    let forecast = startForecast();
    const levelAt = (seconds: number): number => -11 + Math.max(0, 0.05 * (seconds - 1001));
    for (let seconds = 0; seconds <= 1015; seconds += 5) {
      forecast = learn(forecast, { atSeconds: seconds, level: levelAt(seconds), noise: 0.02 });
    }
    expect(outlook(forecast, 1020)!.level).toBeGreaterThan(levelAt(1015) + 0.1);
  });

  it("keeps in step with patches that beat evenly every 27 s, a frame every 11 s", () => {
    const { errors } = follow((seconds) => -10 + 0.4 * Math.sin((2 * Math.PI * seconds) / 27), {
      frames: 300,
      every: 11,
    });
    // Exposing for the mean would be off by 0.28.
    expect(rms(errors.slice(60))).toBeLessThan(0.15);
  });

  it("takes a reading from before the newest one as if it came with it", () => {
    let forecast = learn(startForecast(), { atSeconds: 100, level: -10, noise: 0.02 });
    forecast = learn(forecast, { atSeconds: 90, level: -10, noise: 0.02 });
    expect(forecast.atSeconds).toBe(100);
    expect(outlook(forecast, 110)!.level).toBeCloseTo(-10, 1);
  });

  it("never gives a number that is none, whatever the readings and their times", () => {
    const reading = fc.record({
      atSeconds: fc.double({ min: -1e7, max: 1e7, noNaN: true }),
      level: fc.double({ min: -60, max: 60, noNaN: true }),
      noise: fc.double({ min: 0.005, max: 10, noNaN: true }),
    });
    fc.assert(
      fc.property(fc.array(reading, { minLength: 1, maxLength: 40 }), (readings) => {
        const forecast = readings.reduce((known, each) => learn(known, each), startForecast());
        for (const cell of forecast.cells) expect(Number.isFinite(cell)).toBe(true);
        const weights = forecast.logWeights.map(Math.exp);
        expect(weights.reduce((sum, weight) => sum + weight, 0)).toBeCloseTo(1, 6);
        const { level, spread } = outlook(forecast, forecast.atSeconds! + 15)!;
        expect(Number.isFinite(level)).toBe(true);
        expect(spread).toBeGreaterThanOrEqual(0);
      }),
      { numRuns: 60 },
    );
  });
});
