import fc from "../../support/properties.ts";
import { describe, expect, it } from "vitest";

import { NightError } from "../../../core/errors.ts";
import { planWith } from "../../support/planFixtures.ts";

const CODE_INVALID = "settings.invalid";

function errorOf(run: () => unknown): NightError {
  try {
    run();
  } catch (thrown) {
    if (thrown instanceof NightError) return thrown;
  }
  throw new Error("no error was thrown");
}

describe("the plan of a night", () => {
  const plan = planWith();

  it("orders the evening: sunset, civil, nautical, full darkness, and the morning backwards", () => {
    const order = [
      plan.sunset,
      plan.civilDarkStart,
      plan.nauticalDarkStart,
      plan.darkStart,
      plan.darkEnd,
      plan.nauticalDarkEnd,
      plan.civilDarkEnd,
      plan.sunrise,
    ];
    expect(order.every((time) => time !== null)).toBe(true);
    expect([...order].sort()).toEqual(order);
  });

  it("searches 24 h from local mean solar noon: 10:12 UTC at 27° E", () => {
    expect(plan.searchStart).toBe("2026-11-10T10:12:00Z");
    expect(plan.searchEnd).toBe("2026-11-11T10:12:00Z");
  });

  it("has a sample every ten minutes from noon to noon, 145 of them", () => {
    expect(plan.samples).toHaveLength(145);
    expect(plan.samples[1]!.time).toBe("2026-11-10T10:22:00Z");
    expect(plan.samples[144]!.time).toBe(plan.searchEnd);
    for (const { skyMagArcsec2 } of plan.samples) expect(Number.isFinite(skyMagArcsec2)).toBe(true);
  });

  it("ends the watch an hour and more before sunrise and says to cap the lens", () => {
    expect(plan.watch!.end < plan.sunrise!).toBe(true);
    expect(plan.watch!.sentence).toContain("cap the lens");
  });

  it("faces north along the bearing to the pole and takes the declination off for the compass", () => {
    expect(plan.facing).toBe("north");
    expect(plan.facingBearingDeg).toBeCloseTo(plan.geomagneticPoleBearingDeg, 9);
    expect(plan.facingCompassBearingDeg).toBeCloseTo(
      plan.facingBearingDeg - plan.declinationDeg,
      9,
    );
    expect(plan.compassTrust).toBe("good");
  });

  // The blackout zone about the north magnetic pole, near 86° N 138° E in 2025 (World Magnetic Model).
  it("gives no compass bearing at 84° N 140° E, where no needle can be followed", () => {
    const polar = planWith({ latitudeDeg: 84, longitudeDeg: 140 });
    expect(polar.compassTrust).toBe("none");
    expect(polar.facingCompassBearingDeg).toBeNull();
  });

  it("is the same after a round through JSON", () => {
    expect(JSON.parse(JSON.stringify(plan))).toEqual(plan);
  });

  it("is brighter toward the frame by some magnitudes under a full Moon, and says so", () => {
    const full = planWith({ dateIso: "2026-12-23" });
    expect(full.moonIlluminatedFraction).toBeGreaterThan(0.98);
    expect(full.moonPhaseName).toBe("full Moon");
    expect(full.moonWashMaxMag).toBeGreaterThan(2);
    expect(full.moonSentence).toMatch(/only bright curtains stand out/);
    expect(plan.moonWashMaxMag).toBe(0);
    expect(plan.moonSentence).toMatch(/leaves the framed sky dark/);
  });
});

describe("darkness in plain words", () => {
  it.each([
    ["2026-06-21", "never", "never", /^Midnight sun/],
    ["2026-05-10", "never", "never", /^White night/],
    ["2026-04-27", "never", "never", /^Twilight all night/],
    ["2026-04-05", "never", "window", /^No full darkness/],
    ["2026-11-10", "window", "window", /^Fully dark for 11 h/],
    ["2026-12-21", "window", "window", /^Polar night: the Sun does not rise\. Fully dark for 13 h/],
  ])("on %s at 68.9° N: %s, nautical %s", (dateIso, darkness, nautical, words) => {
    const plan = planWith({ dateIso });
    expect([plan.darkness, plan.nauticalDarkness]).toEqual([darkness, nautical]);
    expect(plan.darknessSentence).toMatch(words);
    if (darkness === "never") expect([plan.darkStart, plan.darkEnd]).toEqual([null, null]);
  });

  it("has no watch at midsummer and one in twilight where nautical darkness never comes", () => {
    expect(planWith({ dateIso: "2026-06-21" }).watch).toBeNull();
    expect(planWith({ dateIso: "2026-04-27" }).watch!.by).toBe("civil");
    expect(planWith({ dateIso: "2026-06-21" }).budget.quiet.frames).toBe(0);
  });

  it("promises no aurora at midsummer, however near the oval is", () => {
    const { aurora, auroraSentence } = planWith({ dateIso: "2026-06-21" });
    expect(aurora[3]!.standing).toBe("overhead");
    expect(auroraSentence).toMatch(/too light/);
  });
});

describe("the ends of the Earth", () => {
  it("gives the same night on both names of the date line, a date apart", () => {
    const east = planWith({ longitudeDeg: 180, dateIso: "2026-11-11" });
    const west = planWith({ longitudeDeg: -180, dateIso: "2026-11-10" });
    expect(east.searchStart).toBe(west.searchStart);
    expect(east.sunset).toBe(west.sunset);
    expect(east.geomagneticLatitudeDeg).toBeCloseTo(west.geomagneticLatitudeDeg, 9);
  });

  it.each([
    [90, "2026-12-21", "allDay", "south"],
    [-90, "2026-06-21", "allDay", "north"],
    [90, "2026-06-21", "never", "south"],
  ])(
    "at latitude %d on %s darkness is %s and every way leads %s",
    (latitudeDeg, dateIso, dark, facing) => {
      const plan = planWith({ latitudeDeg, longitudeDeg: 0, dateIso });
      expect(plan.darkness).toBe(dark);
      expect(plan.facing).toBe(facing);
      expect([plan.sunset, plan.sunrise, plan.darkStart, plan.darkEnd]).toEqual([
        null,
        null,
        null,
        null,
      ]);
    },
  );

  it("looks south for aurora from the southern island, and from inside the northern oval", () => {
    expect(
      planWith({ latitudeDeg: -43.53, longitudeDeg: 172.64, dateIso: "2026-08-20" }).facing,
    ).toBe("south");
    expect(planWith({ latitudeDeg: 78.22, longitudeDeg: 15.65 }).facing).toBe("south");
    expect(planWith({ latitudeDeg: 51.5, longitudeDeg: 0 }).facing).toBe("north");
  });

  it("plans any place on any date without NaN", () => {
    fc.assert(
      fc.property(
        fc.double({ min: -90, max: 90, noNaN: true }),
        fc.double({ min: -180, max: 180, noNaN: true }),
        fc.integer({ min: 0, max: 73_000 }),
        (latitudeDeg, longitudeDeg, day) => {
          const dateIso = new Date(Date.UTC(1900, 0, 1) + day * 86_400_000)
            .toISOString()
            .slice(0, 10);
          const plan = planWith({ latitudeDeg, longitudeDeg, dateIso });
          const numbers: number[] = [];
          const text = JSON.stringify(plan, (_key, value: unknown) => {
            if (typeof value === "number") numbers.push(value);
            return value;
          });
          expect(numbers.filter((value) => !Number.isFinite(value))).toEqual([]);
          expect(JSON.stringify(JSON.parse(text))).toBe(text);
          if (plan.watch !== null && plan.sunrise !== null && plan.sunrise > plan.watch.start) {
            expect(plan.watch.end < plan.sunrise).toBe(true);
          }
        },
      ),
      { numRuns: 25 },
    );
  });
});

describe("bad input", () => {
  it.each([
    ["latitude 91", { latitudeDeg: 91 }, /Latitude must be from -90 to 90/],
    ["a latitude that is none", { latitudeDeg: NaN }, /Latitude/],
    ["longitude 200", { longitudeDeg: 200 }, /Longitude must be from -180 to 180/],
    ["31 February", { dateIso: "2026-02-31" }, /There is no 2026-02-31/],
    ["29 February of a common year", { dateIso: "2027-02-29" }, /There is no 2027-02-29/],
    ["a date in words", { dateIso: "tonight" }, /YYYY-MM-DD/],
    ["the year 1492", { dateIso: "1492-10-12" }, /1900 to 2100/],
    ["−300 °C", { temperatureC: -300 }, /temperature/],
    ["no frames a second", { framesPerSecond: 0 }, /frame rate/],
  ])("%s is one clear sentence", (_name, change, sentence) => {
    const error = errorOf(() => planWith(change));
    expect(error.code).toBe(CODE_INVALID);
    expect(error.message).toMatch(sentence);
  });
});
