import { Body, DefineStar, Equator, Horizon, MakeTime, Observer } from "astronomy-engine";
import { describe, expect, test } from "vitest";
import { starsAbove, starTable } from "../../core/pointing/starsAbove.ts";
import { separationDeg } from "../../core/sky/angles.ts";
import { skyDirectionOf } from "../../core/pointing/pointing.ts";
import { utcMs } from "../../core/units.ts";

describe("the stars above a place", () => {
  const table = starTable();
  test.each([
    [68.9, 27, Date.UTC(2026, 9, 5, 21)],
    [-43.53, 172.64, Date.UTC(2029, 5, 20, 10)],
    [64.84, -147.72, Date.UTC(2031, 1, 1, 9)],
  ])("stand within 0.0007° of astronomy-engine's own star places (%f, %f)", (lat, lon, atMs) => {
    // Without air, so that only proper motion, precession, nutation and aberration are compared.
    const place = { latitudeDeg: lat, longitudeDeg: lon, elevationM: 0 };
    const air = { pressureHpa: 0, temperatureC: 0 };
    const above = starsAbove(table, { place, utcMs: utcMs(atMs), air }, 300);
    const time = MakeTime(new Date(atMs));
    const observer = new Observer(lat, lon, 0);
    const years = (atMs - Date.UTC(2000, 0, 1, 12)) / (365.25 * 86_400_000);
    expect(above.count).toBeGreaterThan(100);
    for (let star = 0; star < above.count; star += 7) {
      const at = 3 * above.catalogueIndex[star]!;
      const [x, y, z] = [0, 1, 2].map(
        (axis) => table.directions[at + axis]! + years * table.motions[at + axis]!,
      ) as [number, number, number];
      const hours = ((Math.atan2(y, x) * 12) / Math.PI + 24) % 24;
      const declinationDeg = (Math.atan2(z, Math.hypot(x, y)) * 180) / Math.PI;
      DefineStar(Body.Star1, hours, declinationDeg, 10_000);
      const { ra, dec } = Equator(Body.Star1, time, observer, true, true);
      const { azimuth, altitude } = Horizon(time, observer, ra, dec);
      const ours = above.directions.subarray(3 * star, 3 * star + 3);
      const seen = skyDirectionOf([ours[0]!, ours[1]!, ours[2]!]);
      const theirs = { bearingDeg: azimuth, elevationDeg: altitude };
      expect(separationDeg(seen, theirs)).toBeLessThan(0.0007);
    }
  });

  // Arcturus: 1.093″ and 1.999″ a year west and south (Hipparcos, ESA 1997); 27 years are 61.5″.
  test("move by themselves: Arcturus by 61.5″ in 27 years", () => {
    const arcturus = 2;
    const motion = table.motions.subarray(3 * arcturus, 3 * arcturus + 3);
    const arcseconds = (Math.hypot(motion[0]!, motion[1]!, motion[2]!) * 27 * 180 * 3600) / Math.PI;
    expect(arcseconds).toBeCloseTo(61.5, 0);
  });
});
