import { describe, expect, it } from "vitest";
import { stopsFromMidGrey } from "../../../core/exposure/exposure.ts";
import { learn, outlook, startForecast } from "../../../core/exposure/forecast.ts";
import { governExposure, observeFrame, startGovernor } from "../../../core/exposure/governor.ts";
import { DEFAULT_EXPOSURE_SETTINGS } from "../../../core/exposure/settings.ts";
import { createRandom } from "../../../core/random.ts";
import { monotonicMs } from "../../../core/units.ts";

const settings = { ...DEFAULT_EXPOSURE_SETTINGS, exposureSecondsMax: 30, isoMax: 12800 };
/** The Sun's vertical speed at 69° N late in September, degrees a second. */
const SUN_DEG_PER_SECOND = 7.5 / 3600;

/**
 * Zenith luminance in twilight, log2 cd/m², against the Sun's depression in degrees. Source: shape
 * of Patat et al. 2006 (steepest about -6°, flat from -18°), read off by eye, unconfirmed.
 */
const TWILIGHT = [
  [0, 3.5],
  [3, -0.3],
  [6, -4.2],
  [9, -7.3],
  [12, -9.6],
  [15, -11.1],
  [18, -11.7],
  [90, -11.8],
] as const;

function twilightLevel(depressionDeg: number): number {
  const at = TWILIGHT.findIndex(([deg]) => deg > depressionDeg);
  const [fromDeg, from] = TWILIGHT[at - 1]!;
  const [toDeg, to] = TWILIGHT[at]!;
  return from + ((depressionDeg - fromDeg) / (toDeg - fromDeg)) * (to - from);
}

const SKIES: Readonly<Record<string, (atSeconds: number) => number>> = {
  dusk: (atSeconds) => twilightLevel(8 + SUN_DEG_PER_SECOND * atSeconds),
  dawn: (atSeconds) => twilightLevel(18 - SUN_DEG_PER_SECOND * atSeconds),
  quiet: () => -10.5,
};

/** Errors in stops of the first frames after a break that comes when the watch has run 40 minutes. */
function errorsAfterBreak(
  levelAt: (atSeconds: number) => number,
  breakMinutes: number,
  uncertaintyStops: number,
): number[] {
  const noise = createRandom("break");
  let state = startGovernor(null);
  let atSeconds = 0;
  let isAfter = false;
  const errors: number[] = [];
  for (let frameIndex = 0; errors.length < 6; frameIndex += 1) {
    if (!isAfter && atSeconds > 2400) {
      isAfter = true;
      atSeconds += breakMinutes * 60;
    }
    const openedMs = monotonicMs(atSeconds * 1000);
    const { exposure, state: ordered } = governExposure(
      state,
      { openAtMs: openedMs, frameIndex },
      settings,
    );
    const level = levelAt(atSeconds + exposure.exposureSeconds / 2);
    const stops = stopsFromMidGrey(2 ** level, exposure);
    if (isAfter) errors.push(stops - settings.targetStops);
    state = observeFrame(
      ordered,
      {
        frameIndex,
        openedMs,
        exposure,
        skyStops: stops + 0.02 * noise.normal(),
        uncertaintyStops,
        peakRatio: 1.5,
        clippedShare: 0,
        motion: { kind: "unknown", why: "no structure" },
      },
      settings,
    );
    atSeconds += exposure.exposureSeconds + 1;
  }
  return errors;
}

describe("after a break", () => {
  it.each([
    ["dusk", 1, 0.05],
    ["dusk", 5, 0.1],
    ["dusk", 33, 0.5],
    ["dawn", 1, 0.05],
    ["dawn", 5, 0.25],
    ["quiet", 1, 0.02],
    ["quiet", 5, 0.02],
    ["quiet", 33, 0.02],
    ["quiet", 180, 0.02],
  ])("in %s of %d min the first frame is within %f stop", (sky, minutes, most) => {
    expect(Math.abs(errorsAfterBreak(SKIES[sky]!, minutes, 0.02)[0]!)).toBeLessThan(most);
  });

  it.each([
    ["dusk", 33, 0.02],
    ["dusk", 33, 0.2],
    ["dawn", 33, 0.02],
    ["dawn", 33, 0.2],
    ["quiet", 180, 0.2],
  ])(
    "in %s of %d min the frames with a reading behind them are within 0.1 stop, readings unsure by %f",
    (sky, minutes, uncertaintyStops) => {
      const after = errorsAfterBreak(SKIES[sky]!, minutes, uncertaintyStops).slice(1);
      expect(Math.max(...after.map(Math.abs))).toBeLessThan(0.1);
    },
  );

  it("carries a trend of 0.1 stop/min on in full for two minutes, and never by over 6.5 stops", () => {
    let forecast = startForecast();
    for (let atSeconds = 0; atSeconds <= 2400; atSeconds += 10) {
      forecast = learn(forecast, { atSeconds, level: -11 + atSeconds / 600, noise: 0.02 });
    }
    const rise = (seconds: number) => outlook(forecast, 2400 + seconds)!.level - (-11 + 4);
    expect(rise(120)).toBeCloseTo(0.2, 1);
    expect(rise(8 * 3600)).toBeGreaterThan(1);
    expect(rise(8 * 3600)).toBeLessThan(6.5);
  });

  it("takes the first reading at once, however far it is from the trend", () => {
    let forecast = startForecast();
    for (let atSeconds = 0; atSeconds <= 2400; atSeconds += 10) {
      forecast = learn(forecast, { atSeconds, level: -8 - atSeconds / 600, noise: 0.02 });
    }
    const afterSeconds = 2400 + 33 * 60;
    for (const off of [-1, -0.3, 0.3, 0.7, 2]) {
      const level = outlook(forecast, afterSeconds)!.level + off;
      const known = learn(forecast, { atSeconds: afterSeconds, level, noise: 0.1 });
      expect(Math.abs(outlook(known, afterSeconds)!.level - level)).toBeLessThan(0.05);
    }
  });
});
