import { describe, expect, test } from "vitest";

import { DEFAULT_KIT_INPUT, resolveKit } from "../../../core/plan/kit.ts";
import { planNight } from "../../../core/plan/plan.ts";
import { sunPosition } from "../../../core/sky/ephemeris.ts";
import { utcMs, type UtcMs } from "../../../core/units.ts";
import { watchAhead } from "../../../controller/night/nightSky.ts";

const at = (iso: string): UtcMs => utcMs(Date.parse(iso));
const place = (latitudeDeg: number, longitudeDeg: number) => ({
  ...{ latitudeDeg, longitudeDeg, elevationM: 0 },
});
const planOf = (latitudeDeg: number, longitudeDeg: number, dateIso: string) =>
  planNight({ latitudeDeg, longitudeDeg, dateIso, kit: resolveKit(DEFAULT_KIT_INPUT) });

describe("the watch ahead", () => {
  test.each([
    ["in autumn", 68.9, 27, "2026-10-10", "2026-10-10T15:00:00Z"],
    ["after midnight", 68.9, 27, "2026-10-10", "2026-10-11T01:00:00Z"],
    ["where −12° never comes", 62, 27, "2026-08-01", "2026-08-01T18:00:00Z"],
    ["beyond the date line", 65, -178, "2026-10-10", "2026-10-11T03:00:00Z"],
    ["in the south", -45, 169, "2026-06-01", "2026-06-01T04:00:00Z"],
  ])("%s is the plan's, to the second", (_, latitudeDeg, longitudeDeg, date, now) => {
    const { watch } = planOf(latitudeDeg, longitudeDeg, date);
    const ahead = watchAhead(at(now), place(latitudeDeg, longitudeDeg))!;
    expect(Math.abs(ahead.startUtcMs - Date.parse(watch!.start))).toBeLessThan(1000);
    expect(Math.abs(ahead.endUtcMs - Date.parse(watch!.end))).toBeLessThan(1000);
  });

  test("is the next night's by day, and ends before the Sun is up", () => {
    const ahead = watchAhead(at("2026-10-11T09:00:00Z"), place(68.9, 27))!;
    expect(ahead.startUtcMs).toBeGreaterThan(at("2026-10-11T14:00:00Z"));
    expect(sunPosition(ahead.endUtcMs, place(68.9, 27)).altitudeDeg).toBeCloseTo(-12, 2);
  });

  test("begun by hand after the plan's end, at −9°, ends when the Sun passes −6°", () => {
    const { watch } = planOf(68.9, 27, "2026-10-10");
    const now = utcMs(Date.parse(watch!.end) + 30 * 60_000);
    expect(sunPosition(now, place(68.9, 27)).altitudeDeg).toBeLessThan(-6);
    const ahead = watchAhead(now, place(68.9, 27))!;
    expect(ahead.startUtcMs).toBe(now);
    expect(sunPosition(ahead.endUtcMs, place(68.9, 27)).altitudeDeg).toBeCloseTo(-6, 2);
    expect(ahead.endUtcMs - now).toBeLessThan(2 * 3_600_000);
  });

  test("is none under the midnight Sun", () => {
    expect(watchAhead(at("2026-06-21T20:00:00Z"), place(68.9, 27))).toBeNull();
  });
});
