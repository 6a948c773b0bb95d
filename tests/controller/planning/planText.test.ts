import { expect, test } from "vitest";

import { planText, timeWriter } from "../../../controller/planning/planText.ts";
import { auroraView } from "../../../core/sky/auroraView.ts";
import { planWith } from "../../support/planFixtures.ts";

const NO_FEED = { kind: "none", kp: null, at: null, ageMinutes: null, sentence: "" } as const;

/** Places and evenings of every kind: polar night, midnight sun, the date line, the autumn's hour, the tropics. */
const PLACES: readonly (readonly [latitudeDeg: number, longitudeDeg: number, zone: string])[] = [
  [78.22, 15.65, "Arctic/Longyearbyen"],
  [69.65, 18.96, "Europe/Oslo"],
  [68.9, 27, "Europe/Helsinki"],
  [64.15, -21.94, "Atlantic/Reykjavik"],
  [55.95, -3.19, "Europe/London"],
  [64.42, -173.23, "Asia/Anadyr"],
  [52.9, 172.9, "America/Adak"],
  [62.45, -114.37, "America/Yellowknife"],
  [-42.88, 147.33, "Australia/Hobart"],
  [-77.85, 166.67, "Antarctica/McMurdo"],
  [1.3, 103.8, "Asia/Singapore"],
  [88, 0, "UTC"],
];
const DATES = ["2026-03-20", "2026-06-21", "2026-10-24", "2026-10-31", "2026-12-23"];

const TEXTS = PLACES.flatMap(([latitudeDeg, longitudeDeg, zone]) =>
  DATES.map((dateIso) => {
    const plan = planWith({ latitudeDeg, longitudeDeg, dateIso, zone });
    const text = planText({ plan, kpFeed: NO_FEED, auroraNow: null }, timeWriter(zone));
    return { name: `${latitudeDeg} ${longitudeDeg} ${dateIso}`, plan, text };
  }),
);

test.each(TEXTS)("says nothing that cannot be at $name", ({ plan, text }) => {
  const flat = text.replace(/\s+/g, " ");
  // No stretch ends where it begins, nothing that does not happen has a time, no number is none.
  expect(flat).not.toMatch(/\b(\d\d:\d\d) to \1(?! of the next day)/);
  expect(flat).not.toMatch(/rises –|sets –|NaN|undefined|null|Infinity/);
  expect(flat).not.toMatch(/\d\d:\d\d\d/);
  const [, rise, set] = /rises (\d\d:\d\d[^;]*); sets (\d\d:\d\d)/.exec(flat) ?? [];
  if (rise !== undefined && set !== undefined) {
    expect(Date.parse(plan.moonrise!)).toBeLessThan(Date.parse(plan.moonset!));
  }
  const stops = /up to ([\d.]+) stops/.exec(flat)?.[1];
  if (stops !== undefined) expect(Number(stops)).toBeLessThan(7);
  const isNever = plan.aurora.every(({ standing }) => standing === "belowHorizon");
  if (isNever) expect(flat).not.toContain("the oval stands on the side");
});

test("tells the two hours of one name apart when the clock goes back", () => {
  // Source: the European Union's rule, 01:00 UTC on the last Sunday of October.
  const { time } = timeWriter("Europe/Helsinki");
  expect(time("2026-10-25T00:30:00Z")).toBe("03:30 UTC+3");
  expect(time("2026-10-25T01:30:00Z")).toBe("03:30 UTC+2");
  expect(time("2026-10-25T02:30:00Z")).toBe("04:30");
});

test("says by what the date is the evening's", () => {
  const text = (zone?: string): string =>
    planText(
      { plan: planWith(zone === undefined ? {} : { zone }), kpFeed: NO_FEED, auroraNow: null },
      timeWriter("UTC"),
    );
  expect(text()).toContain("The date is the evening's by longitude.");
  expect(text("Europe/Helsinki")).toContain("The date is the evening's in Europe/Helsinki.");
});

test("sees aurora from the polar cap in the dark and none at the equator", () => {
  expect(auroraView(75, 3).standing).not.toBe("belowHorizon");
  expect(auroraView(5, 9).standing).toBe("belowHorizon");
});
