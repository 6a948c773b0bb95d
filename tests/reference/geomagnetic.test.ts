import geomagnetism from "geomagnetism";
import { describe, expect, it } from "vitest";

import {
  antipode,
  bearingDeg,
  correctedPosition,
  dipoleLatitudeDeg,
  geomagneticPole,
} from "../../core/sky/geomagnetic.ts";
import { fieldVector, groundPointKm, magneticFieldAt } from "../../core/sky/magneticField.ts";
import { magneticLocalTimeHours, magneticMidnightUtcMs } from "../../core/sky/magneticTime.ts";

const FIELD_2025 = magneticFieldAt(Date.UTC(2025, 0, 1));

/** Gauss coefficients g10, g11, h11 in nT. */
const dipole = (g10: number, g11: number, h11: number) => ({ g: [0, g10, g11], h: [0, 0, h11] });
const IGRF_13_2020 = dipole(-29404.8, -1450.9, 4652.5);
const IGRF_14_2025 = dipole(-29350, -1410.3, 4545.5);

describe("the geomagnetic pole", () => {
  it.each([
    // Source: Alken et al. 2021, EPS 73:49 (IGRF-13, 2020.0); IGRF-14 coefficients; geocentric.
    ["IGRF-13 2020.0", IGRF_13_2020, 80.589, -72.68],
    ["IGRF-14 2025.0", IGRF_14_2025, 80.789, -72.763],
  ])("of %s lies where its coefficients put it", (_name, field, latitude, longitude) => {
    const pole = geomagneticPole(field);
    expect(pole.latitudeDeg).toBeCloseTo(latitude, 2);
    expect(pole.longitudeDeg).toBeCloseTo(longitude, 2);
  });

  it("of the package's model agrees with IGRF-14 to 0.01°", () => {
    const pole = geomagneticPole(FIELD_2025);
    expect(FIELD_2025.modelName).toBe("WMM-2025");
    expect(Math.abs(pole.latitudeDeg - 80.789)).toBeLessThan(0.01);
    expect(Math.abs(pole.longitudeDeg - -72.763)).toBeLessThan(0.01);
  });

  it("of 2020.0 lies at the published geodetic 80.65 N 72.68 W", () => {
    // Source: Alken et al. 2021, table 4. Geodetic latitude from geocentric on the WGS 84 ellipsoid.
    const { latitudeDeg, longitudeDeg } = geomagneticPole(IGRF_13_2020);
    const squared = 0.00669437999;
    const geodetic = Math.atan(Math.tan((latitudeDeg * Math.PI) / 180) / (1 - squared));
    expect((geodetic * 180) / Math.PI).toBeCloseTo(80.65, 2);
    expect(longitudeDeg).toBeCloseTo(-72.68, 2);
  });
});

describe("the centred dipole", () => {
  it.each([
    // Latitude and bearing to the pole of the hemisphere, worked from the published coefficients
    // apart from this program; 0.12° leaves room for geodetic against geocentric latitude.
    [69.65, 18.96, IGRF_14_2025, 67.492, 335.3],
    [51.4779, 0, IGRF_14_2025, 53.304, 345.2],
    [61.2181, -149.9003, IGRF_13_2020, 61.894, 19.8],
    [-43.5321, 172.6362, IGRF_14_2025, -46.735, 192.3],
  ])(
    "puts %d, %d where the coefficients do",
    (latitudeDeg, longitudeDeg, field, expected, bearing) => {
      const pole = geomagneticPole(field);
      const place = { latitudeDeg, longitudeDeg };
      expect(Math.abs(dipoleLatitudeDeg(place, pole) - expected)).toBeLessThan(0.12);
      const nearer = latitudeDeg < 0 ? antipode(pole) : pole;
      expect(Math.abs(bearingDeg(place, nearer) - bearing)).toBeLessThan(0.2);
    },
  );
});

describe("the field along a line", () => {
  it("agrees with the package on the ground and in orbit to a millionth", () => {
    const model = geomagnetism.model(new Date(Date.UTC(2025, 0, 1)));
    for (const [lat, lon] of [
      [69.65, 18.96],
      [-43.5, 172.6],
      [0, 0],
      [51.5, -0.1],
      [-89, 100],
    ] as const) {
      const strength = Math.hypot(...fieldVector(FIELD_2025, groundPointKm(lat, lon)));
      expect(Math.abs(strength / model.point([lat, lon]).f - 1)).toBeLessThan(1e-6);
    }
    // Over the equator the upright of ellipsoid and sphere are one.
    const far = Math.hypot(...fieldVector(FIELD_2025, [6378.137 + 20_000, 0, 0]));
    expect(Math.abs(far / model.point([0, 0, 20_000]).f - 1)).toBeLessThan(1e-6);
  });
});

describe("corrected geomagnetic latitude", () => {
  it.each([
    // Source: field lines of the degree-12 WMM2025 followed to the dipole's equator with another
    // program (a library's field code, its own integrator), latitude acos(1/√L).
    [69.65, 18.96, 67.02],
    [61.22, -149.9, 60.82],
    [51.48, 0, 47.15],
    [-43.53, 172.64, -49.9],
  ])("of %d, %d is %d by the traced field line", (latitudeDeg, longitudeDeg, expected) => {
    const { latitudeDeg: found } = correctedPosition(FIELD_2025, { latitudeDeg, longitudeDeg });
    expect(Math.abs(found - expected)).toBeLessThan(0.03);
  });

  it("of a pure dipole is the dipole's own latitude", () => {
    const g = new Array<number>(91).fill(0);
    const h = new Array<number>(91).fill(0);
    [g[1], g[2], h[2]] = [-29350, -1410.3, 4545.5];
    const field = { ...FIELD_2025, g, h };
    const pole = geomagneticPole(field);
    // On the sphere: at 45° geodetic the ellipsoid's point lies 0.19° lower, so geocentric ones are compared.
    for (const [lat, lon] of [
      [67, 20],
      [55, -100],
      [-60, 140],
    ] as const) {
      const [x, y, z] = groundPointKm(lat, lon);
      const geocentric = (Math.atan2(z, Math.hypot(x, y)) * 180) / Math.PI;
      const expected = dipoleLatitudeDeg({ latitudeDeg: geocentric, longitudeDeg: lon }, pole);
      const { latitudeDeg } = correctedPosition(field, { latitudeDeg: lat, longitudeDeg: lon });
      // The ground lies a few kilometres off the model's sphere.
      expect(Math.abs(latitudeDeg - expected)).toBeLessThan(0.05);
    }
  });

  it.each([
    [90, 0],
    [-90, 0],
    [0, 0],
    [0, -70],
    [80.8, -72.8],
    [10, 180],
    [10, -180],
  ])("is a number at %d, %d", (latitudeDeg, longitudeDeg) => {
    const found = correctedPosition(FIELD_2025, { latitudeDeg, longitudeDeg });
    expect(Math.abs(found.latitudeDeg)).toBeLessThanOrEqual(90);
    expect(Number.isFinite(found.longitudeDeg)).toBe(true);
  });

  it("is continuous across the date line", () => {
    const [west, east] = [-180, 180].map((longitudeDeg) =>
      correctedPosition(FIELD_2025, { latitudeDeg: 65, longitudeDeg }),
    );
    expect(west!.latitudeDeg).toBeCloseTo(east!.latitudeDeg, 9);
  });
});

describe("magnetic local time", () => {
  it("is midnight in northern Scandinavia at about 22 h UTC", () => {
    // Common knowledge of the trade's stations (magnetic midnight at 21:30 to 22:30 UTC); no source.
    const { longitudeDeg } = correctedPosition(FIELD_2025, {
      latitudeDeg: 69.65,
      longitudeDeg: 18.96,
    });
    const midnight = magneticMidnightUtcMs(Date.UTC(2026, 0, 10, 23), longitudeDeg, FIELD_2025);
    const hours = (midnight - Date.UTC(2026, 0, 10)) / 3_600_000;
    expect(hours).toBeGreaterThan(21.3);
    expect(hours).toBeLessThan(22.7);
    const there = magneticLocalTimeHours(midnight, longitudeDeg, FIELD_2025);
    expect(Math.min(there, 24 - there)).toBeLessThan(0.02);
  });
});
