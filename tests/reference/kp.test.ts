import { describe, expect, it } from "vitest";

import { elevationOverDeg, groundKmOf, slantKmOf } from "../../core/sky/auroraGeometry.ts";
import { auroraView } from "../../core/sky/auroraView.ts";
import { diffuseBoundaryDeg, kpBoundaryDeg, ovalEdges } from "../../core/sky/kpBoundary.ts";

describe("the aurora's boundary for a Kp", () => {
  it.each([
    // Source: NOAA SWPC, "Tips on viewing the aurora", corrected geomagnetic latitude.
    [0, 66.5],
    [1, 64.5],
    [2, 62.4],
    [3, 60.4],
    [4, 58.3],
    [5, 56.3],
    [6, 54.2],
    [7, 52.2],
    [8, 50.1],
    [9, 48.1],
  ])("of Kp %d is the table's %d°", (kp, boundary) => {
    expect(kpBoundaryDeg(kp)).toBe(boundary);
  });

  it.each([
    // Source: Gussenhoven, Hardy and Heinemann 1983, J. Geophys. Res. 88:5692.
    [0, 0, 66.1],
    [5, 0, 56.15],
    [9, 0, 48.19],
    [3, 23, 61.59],
    [4, 22, 60.78],
    [2, 21, 64.88],
    [2, 18, 67.72],
    [1, 1, 63.55],
    [3, 4, 63.26],
  ])("of Kp %d at %d h magnetic time is the paper's %d°", (kp, hours, boundary) => {
    expect(diffuseBoundaryDeg(kp, hours)).toBeCloseTo(boundary, 2);
  });

  it("of the two tables agrees within 0.41° at midnight for every Kp", () => {
    for (let kp = 0; kp <= 9; kp += 1) {
      expect(Math.abs(kpBoundaryDeg(kp) - diffuseBoundaryDeg(kp, 0)!)).toBeLessThan(0.41);
    }
  });

  it("has no row by day", () => {
    expect(diffuseBoundaryDeg(3, 12)).toBeNull();
    expect(diffuseBoundaryDeg(3, 6)).toBeNull();
  });

  it.each([
    // Source: Starkov 1994, Geomagn. Aeron. 34:331, worked from its coefficients at midnight.
    [1, 67.94],
    [3, 64.22],
    [5, 61.85],
    [7, 60.39],
  ])("of the discrete oval at Kp %d is %d° at midnight", (kp, edge) => {
    expect(ovalEdges(kp, 0).equatorwardDeg).toBeCloseTo(edge, 1);
    expect(ovalEdges(kp, 0).polewardDeg).toBeGreaterThan(edge);
  });
});

describe("how high aurora stands over the horizon", () => {
  it.each([
    // Plain geometry on a sphere of 6371 km, worked by hand; tolerance 0.05°.
    [100, 47.03, 67.36],
    [200, 27.7, 49.89],
    [300, 18.63, 37.9],
    [500, 10.05, 23.86],
    [700, 5.7, 16.14],
    [1000, 1.71, 9.25],
  ])("over a point %d km away: %d° for 110 km, %d° for 250 km", (km, border, tops) => {
    expect(Math.abs(elevationOverDeg(km, 110) - border)).toBeLessThan(0.05);
    expect(Math.abs(elevationOverDeg(km, 250) - tops)).toBeLessThan(0.05);
  });

  it.each([
    [60, 62.3, 126.7],
    [45, 107.2, 154.3],
    [30, 182.8, 214.7],
    [20, 280.3, 303.3],
    [10, 501.8, 517.8],
    [5, 743, 757],
  ])("at %d° it is %d km away over ground and %d km along the sight", (elevation, km, slant) => {
    expect(Math.abs(groundKmOf(elevation, 110) - km)).toBeLessThan(0.6);
    expect(Math.abs(slantKmOf(elevation, 110) - slant)).toBeLessThan(0.6);
  });

  it("ends at the horizon limits of 1175 km and 1756 km", () => {
    expect(groundKmOf(0, 110)).toBeCloseTo(1175, -0.5);
    expect(groundKmOf(0, 250)).toBeCloseTo(1756, -0.5);
  });
});

describe("the view for a Kp", () => {
  it("is overhead under the oval, and says so in both hemispheres", () => {
    expect(auroraView(67, 3).standing).toBe("overhead");
    expect(auroraView(-67, 3)).toEqual(auroraView(67, 3));
  });

  it("climbs with Kp for a place equatorward of the oval", () => {
    const views = Array.from({ length: 10 }, (_, kp) => auroraView(52, kp));
    expect(views[0]!.standing).toBe("topsOnly");
    expect(views[3]!.standing).toBe("low");
    expect(views[7]!.side).toBe("poleward");
    expect(views[8]!.standing).toBe("overhead");
    for (let kp = 1; kp <= 7; kp += 1) {
      expect(views[kp]!.borderElevationDeg).toBeGreaterThan(views[kp - 1]!.borderElevationDeg);
    }
  });

  it("stands toward the equator for a place inside the quiet oval", () => {
    expect(auroraView(75.9, 1).side).toBe("equatorward");
  });
});
