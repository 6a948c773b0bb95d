import { readFileSync } from "node:fs";

import { describe, expect, it } from "vitest";

import { nightTimes, type Darkness } from "../../core/sky/darkness.ts";
import { twilightZenithMag } from "../../core/sky/twilight.ts";

type Crossing = readonly [seconds: number, direction: "rising" | "falling"];
type NightRow = {
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  readonly date: string;
  readonly civil: readonly Crossing[];
  readonly nautical: readonly Crossing[];
  readonly astronomical: readonly Crossing[];
  readonly midnightAltitudeDeg: number;
};

/** Source: astropy 5.2.1, as the file says of itself. */
const NIGHTS = JSON.parse(
  readFileSync(new URL("../fixtures/sky/nights.json", import.meta.url), "utf8"),
) as { readonly rows: readonly NightRow[] };

const placeOf = ({
  latitudeDeg,
  longitudeDeg,
}: Pick<NightRow, "latitudeDeg" | "longitudeDeg">) => ({
  latitudeDeg,
  longitudeDeg,
  elevationM: 0,
});

/** Twilights alone are of the Sun's centre; rise and set are the almanac's (`riseAndSet.test.ts`). */
const LEVELS = { civil: -6, nautical: -12, astronomical: -18 } as const;

describe("darkness against an independent ephemeris", () => {
  it.each(NIGHTS.rows.map((row) => [row.latitudeDeg, row.longitudeDeg, row.date, row] as const))(
    "begins and ends within 20 s of it at %d, %d on %s",
    (_lat, _lon, date, row) => {
      const times = nightTimes(date, placeOf(row));
      for (const [name, level] of Object.entries(LEVELS)) {
        const found: Darkness = times[name as keyof typeof LEVELS];
        const expected = row[name as keyof typeof LEVELS];
        if (expected.length === 0) {
          expect(found.kind, name).toBe(row.midnightAltitudeDeg < level ? "allDay" : "never");
          continue;
        }
        expect(found.kind, name).toBe("window");
        const secondsOf = (atMs: number | null) => (atMs! - times.searched.startMs) / 1000;
        // A body that grazes the level takes longer over a hundredth of a degree.
        const tolerance = Math.abs(row.midnightAltitudeDeg - level) < 1 ? 90 : 20;
        const falling = expected.find(([, direction]) => direction === "falling")!;
        const rising = expected.find(([, direction]) => direction === "rising")!;
        expect(Math.abs(secondsOf(found.startUtcMs) - falling[0]), name).toBeLessThan(tolerance);
        expect(Math.abs(secondsOf(found.endUtcMs) - rising[0]), name).toBeLessThan(tolerance);
      }
    },
  );
});

describe("dates without darkness at high latitudes", () => {
  // Source: declinations of 2027 by astropy, lowest Sun = latitude + declination − 90; ± 1 day.
  const RANGES: readonly (readonly [
    number,
    "astronomical" | "nautical" | "civil",
    string,
    string,
  ])[] = [
    [78.22, "astronomical", "2027-03-06", "2027-10-09"],
    [78.22, "nautical", "2027-03-21", "2027-09-23"],
    [78.22, "civil", "2027-04-05", "2027-09-08"],
    [69.65, "astronomical", "2027-03-27", "2027-09-17"],
    [69.65, "nautical", "2027-04-12", "2027-09-01"],
    [69.65, "civil", "2027-04-30", "2027-08-14"],
    [67, "astronomical", "2027-04-03", "2027-09-10"],
    [65, "nautical", "2027-04-25", "2027-08-18"],
    [62, "civil", "2027-06-02", "2027-07-12"],
    [60, "astronomical", "2027-04-22", "2027-08-21"],
    [57, "nautical", "2027-05-26", "2027-07-18"],
    [50, "astronomical", "2027-06-02", "2027-07-12"],
  ];

  const shifted = (date: string, days: number): string =>
    new Date(Date.parse(date) + days * 86_400_000).toISOString().slice(0, 10);

  it.each(RANGES)("at %d° N %s darkness never comes from %s to %s", (lat, level, first, last) => {
    const kindOn = (date: string) =>
      nightTimes(date, placeOf({ latitudeDeg: lat, longitudeDeg: 0 }))[level].kind;
    expect(kindOn(shifted(first, -2))).not.toBe("never");
    expect(kindOn(shifted(first, 2))).toBe("never");
    expect(kindOn(shifted(last, -2))).toBe("never");
    expect(kindOn(shifted(last, 2))).not.toBe("never");
  });

  it("is never light at 85.5° N at the winter solstice, and never dark at the summer one", () => {
    const place = placeOf({ latitudeDeg: 85.5, longitudeDeg: 0 });
    expect(nightTimes("2026-12-21", place).astronomical.kind).toBe("allDay");
    expect(nightTimes("2026-06-21", place).sun.kind).toBe("never");
    // "Below −18° all day" needs a latitude above 84.56°.
    expect(nightTimes("2026-12-21", { ...place, latitudeDeg: 84 }).astronomical.kind).toBe(
      "window",
    );
  });
});

describe("brightness of twilight", () => {
  it.each([
    // Source: Patat, Ugolnikov and Postylyakov 2006, A&A 455:385, table 1 (V).
    [-5, 11.84],
    [-6, 13.3],
    [-8, 15.88],
    [-9, 17],
    [-10, 18],
    [-12, 19.67],
    [-14, 20.89],
    [-15, 21.32],
  ])("is that of the published polynomial with the Sun at %d°: V = %d", (altitude, mag) => {
    expect(twilightZenithMag(altitude)).toBeCloseTo(mag, 1);
    expect(Math.abs(twilightZenithMag(altitude) - mag)).toBeLessThan(0.01);
  });
});
