import { describe, expect, it } from "vitest";

import { eveningDate, meanSolarNoonUtcMs } from "../../../core/sky/evening.ts";
import { planWith } from "../../support/planFixtures.ts";

const noonOf = (date: string, longitudeDeg: number, zone: string | null): string =>
  new Date(meanSolarNoonUtcMs(date, { longitudeDeg, zone })).toISOString();

describe("the evening of a date", () => {
  // Zones by the IANA database: Asia/Anadyr UTC+12, America/Adak UTC−10 in winter, Pacific/Tongatapu
  // UTC+13, Pacific/Pago_Pago UTC−11.
  it.each([
    // Provideniya in Chukotka: solar noon at 23:33 UTC is 11:33 by the clock, of the next day.
    [-173.23, "Asia/Anadyr", "2026-12-09T23:32:55.200Z"],
    // Attu at the Aleutians' end stands east of 180°: 12:28 by the clock of Adak is 22:28 UTC before.
    [172.9, "America/Adak", "2026-12-11T00:28:24.000Z"],
    [-175.2, "Pacific/Tongatapu", "2026-12-09T23:40:48.000Z"],
    [-170.7, "Pacific/Pago_Pago", "2026-12-10T23:22:48.000Z"],
    [180, "Pacific/Auckland", "2026-12-10T00:00:00.000Z"],
    [-180, "Pacific/Auckland", "2026-12-10T00:00:00.000Z"],
    [27, "Europe/Helsinki", "2026-12-10T10:12:00.000Z"],
    [27, null, "2026-12-10T10:12:00.000Z"],
    [-173.23, null, "2026-12-10T23:32:55.200Z"],
  ])("begins at %d° in %s with the noon %s", (longitudeDeg, zone, noon) => {
    expect(noonOf("2026-12-10", longitudeDeg, zone)).toBe(noon);
  });

  it("is found again from any hour of it, in the zone as by longitude", () => {
    for (const [longitudeDeg, zone] of [
      [-173.23, "Asia/Anadyr"],
      [172.9, "America/Adak"],
      [27, null],
      [-150, "UTC"],
    ] as const) {
      const noonMs = meanSolarNoonUtcMs("2026-12-10", { longitudeDeg, zone });
      for (const hours of [0.01, 6, 12, 23.9]) {
        expect(eveningDate(noonMs + hours * 3.6e6, { longitudeDeg, zone })).toBe("2026-12-10");
      }
      expect(eveningDate(noonMs - 3.6e5, { longitudeDeg, zone })).toBe("2026-12-09");
    }
  });

  it("refuses a zone that is none and a day that Samoa left out", () => {
    expect(() => noonOf("2026-12-10", 0, "Nowhere/Atall")).toThrow(/no time zone "Nowhere\/Atall"/);
    expect(() => noonOf("2011-12-30", -171.8, "Pacific/Apia")).toThrow(/no 2011-12-30/);
  });

  it("is planned by the zone that is named, and the plan says which", () => {
    const where = { latitudeDeg: 64.42, longitudeDeg: -173.23, dateIso: "2026-12-10" };
    const byZone = planWith({ ...where, zone: "Asia/Anadyr" });
    const byLongitude = planWith(where);
    expect([byZone.dateBy, byZone.zone]).toEqual(["zone", "Asia/Anadyr"]);
    expect([byLongitude.dateBy, byLongitude.zone]).toEqual(["longitude", null]);
    expect(byZone.searchStart).toBe("2026-12-09T23:32:55Z");
    expect(Date.parse(byLongitude.searchStart) - Date.parse(byZone.searchStart)).toBe(86_400_000);
  });
});
