import { describe, expect, it } from "vitest";
import { nightLight } from "../../../core/plan/nightLight.ts";
import { nightTimes } from "../../../core/sky/darkness.ts";
import { placeOf } from "../../../core/sky/place.ts";

const HOUR_MS = 3_600_000;
const place = placeOf({ latitudeDeg: 64, longitudeDeg: 20 });

describe("the light of a night", () => {
  it("begins and ends each twilight when the plan of 24 March 2027 at 64° N does, to a second", () => {
    const times = nightTimes("2027-03-24", place);
    const { bands } = nightLight(place, times.searched);
    expect(bands.map(({ light }) => light)).toEqual([
      ...["day", "civil", "nautical", "astronomical", "dark"],
      ...["astronomical", "nautical", "civil", "day"],
    ]);
    const dark = bands.find(({ light }) => light === "dark")!;
    expect(Math.abs(dark.startUtcMs - times.astronomical.startUtcMs!)).toBeLessThan(1000);
    expect(Math.abs(dark.endUtcMs - times.astronomical.endUtcMs!)).toBeLessThan(1000);
    const [, , nautical] = bands;
    expect(Math.abs(nautical!.startUtcMs - times.civil.startUtcMs!)).toBeLessThan(1000);
  });

  it("leaves no hole between its bands", () => {
    const stretch = { startMs: Date.UTC(2027, 2, 24, 6), endMs: Date.UTC(2027, 2, 25, 18) };
    const { bands } = nightLight(place, stretch);
    expect(bands[0]!.startUtcMs).toBe(stretch.startMs);
    expect(bands.at(-1)!.endUtcMs).toBe(stretch.endMs);
    bands.slice(1).forEach((band, at) => expect(band.startUtcMs).toBe(bands[at]!.endUtcMs));
  });

  it("is day throughout at 78° N in June, with the Moon up around new moon, 0 % lit", () => {
    const north = placeOf({ latitudeDeg: 78, longitudeDeg: 15 });
    // New moon of 4 June 2027, 19:40 UTC. Source: the almanac's list of phases, from memory.
    const startMs = Date.UTC(2027, 5, 4, 12);
    const light = nightLight(north, { startMs, endMs: startMs + 16 * HOUR_MS });
    expect(light.bands).toEqual([
      { light: "day", startUtcMs: startMs, endUtcMs: startMs + 16 * HOUR_MS },
    ]);
    expect(light.moonUp).toEqual([{ startUtcMs: startMs, endUtcMs: startMs + 16 * HOUR_MS }]);
    expect(light.moonIlluminatedFraction).toBeLessThan(0.01);
  });
});
