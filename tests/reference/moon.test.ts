import { describe, expect, it } from "vitest";

import { moonLight, moonPosition } from "../../core/sky/ephemeris.ts";

const at = (latitudeDeg: number, longitudeDeg: number) => ({
  latitudeDeg,
  longitudeDeg,
  elevationM: 0,
});

describe("the Moon against published worked examples", () => {
  // 0 h dynamical time of 1992-04-12 is 59 s before 0 h UT.
  const utcMs = Date.UTC(1992, 3, 12) - 59_000;

  it("stands overhead where Meeus's example 47.a puts it", () => {
    // Source: Meeus 1998, example 47.a: right ascension 134.68847°, declination 13.76837°;
    // eq. 12.4 for the sidereal time of that moment.
    const days = 2448724.5 - 59 / 86_400 - 2451545;
    const siderealDeg = 280.46061837 + 360.98564736629 * days;
    const longitudeDeg = ((((134.68847 - siderealDeg) % 360) + 540) % 360) - 180;
    const moon = moonPosition(utcMs, at(13.76837, longitudeDeg));
    // Overhead the parallax vanishes, but for the 0.07° between geodetic and geocentric upright.
    expect(moon.altitudeDeg).toBeGreaterThan(89.98);
    expect(Math.abs(moon.declinationDeg - 13.76837)).toBeLessThan(0.005);
  });

  it("is lit as in Meeus's example 48.a: phase angle 69.0756°, 0.6786 lit", () => {
    const { phaseAngleDeg, illuminatedFraction } = moonLight(utcMs);
    expect(Math.abs(phaseAngleDeg - 69.0756)).toBeLessThan(0.02);
    expect(Math.abs(illuminatedFraction - 0.6786)).toBeLessThan(0.0005);
  });

  it.each([
    // Source: astropy 5.2.1 and PyEphem, airless, seen from the place.
    ["2026-01-10T21:00Z", 69.65, 18.96, -21.027, 69.872, 0.4805],
    ["2026-03-03T22:00Z", 51.4779, 0, 32.116, 133.643, 0.9978],
    ["2026-08-20T14:00Z", -43.53, 172.64, 2.312, 236.66, 0.5462],
    ["2026-12-24T00:00Z", 69.65, 18.96, 45.441, 206.07, 0.9988],
  ])("agrees with two independent ephemerides at %s, %d, %d", (iso, lat, lon, alt, az, lit) => {
    const moon = moonPosition(Date.parse(iso), at(lat, lon));
    expect(Math.abs(moon.altitudeDeg - alt)).toBeLessThan(0.05);
    expect(Math.abs(moon.azimuthDeg - az)).toBeLessThan(0.05);
    expect(Math.abs(moonLight(Date.parse(iso)).illuminatedFraction - lit)).toBeLessThan(0.006);
  });
});
