import { describe, expect, it } from "vitest";

import { subsolarPoint, sunPosition } from "../../core/sky/ephemeris.ts";

const at = (latitudeDeg: number, longitudeDeg: number, elevationM = 0) => ({
  latitudeDeg,
  longitudeDeg,
  elevationM,
});

/** Meeus, Astronomical Algorithms, 2nd ed. 1998, eq. 12.4: mean sidereal time at Greenwich. */
function siderealTimeDeg(julianDay: number): number {
  const t = (julianDay - 2451545) / 36525;
  const raw = 280.46061837 + 360.98564736629 * (julianDay - 2451545) + 0.000387933 * t * t;
  return ((raw % 360) + 360) % 360;
}

describe("the Sun against published worked examples", () => {
  it("stands where Meeus's example 25.b puts it on 1992-10-13 at 0 h dynamical time", () => {
    // Source: Meeus 1998, example 25.b: right ascension 198.37812°, declination −7.78382°.
    // 0 h TD is 59 s before 0 h UT of that year.
    const utcMs = Date.UTC(1992, 9, 13) - 59_000;
    const julianDay = 2448908.5 - 59 / 86_400;
    const { latitudeDeg, longitudeDeg } = subsolarPoint(utcMs);
    const expected = 198.37812 - siderealTimeDeg(julianDay);
    // The parallax on the equator is up to 0.0024°, the nutation in sidereal time 0.004°.
    expect(Math.abs(latitudeDeg - -7.78382)).toBeLessThan(0.004);
    expect(Math.abs(((longitudeDeg - expected + 540) % 360) - 180)).toBeLessThan(0.01);
  });

  it("stands where the solar position report's example puts it on 2003-10-17", () => {
    // Source: Reda and Andreas 2003, NREL/TP-560-34302, appendix: 12:30:30 at UTC−7, 39.742476 N,
    // 105.1786 W, 1830.14 m, 820 mbar, 11 °C: zenith 50.11162°, azimuth 194.34024°.
    const sun = sunPosition(Date.UTC(2003, 9, 17, 19, 30, 30), at(39.742476, -105.1786, 1830.14));
    // The report's refraction, taken off (Sæmundsson's formula with pressure and temperature).
    const h = sun.altitudeDeg;
    const refractionDeg =
      (1.02 / 60 / Math.tan(((h + 10.3 / (h + 5.11)) * Math.PI) / 180)) *
      (820 / 1010) *
      (283 / (273 + 11));
    expect(90 - h - refractionDeg).toBeCloseTo(50.11162, 2);
    // The report neglects UT1 − UTC (−0.36 s), which is 0.002° of azimuth.
    expect(Math.abs(sun.azimuthDeg - 194.34024)).toBeLessThan(0.004);
  });

  it.each([
    // Source: astropy 5.2.1 and PyEphem, airless; they agree to 0.003°.
    ["2026-01-10T21:00Z", 69.65, 18.96, -39.357, 325.759],
    ["2026-04-25T23:00Z", 69.65, 18.96, -6.857, 4.4],
    ["2026-12-21T10:45Z", 69.65, 18.96, -3.091, 180.643],
    ["2026-08-20T14:00Z", -43.53, 172.64, -53.572, 142.354],
  ])(
    "agrees with two independent ephemerides at %s, %d, %d",
    (iso, lat, lon, altitude, azimuth) => {
      const sun = sunPosition(Date.parse(iso), at(lat, lon));
      expect(Math.abs(sun.altitudeDeg - altitude)).toBeLessThan(0.02);
      expect(Math.abs(sun.azimuthDeg - azimuth)).toBeLessThan(0.02);
    },
  );
});
