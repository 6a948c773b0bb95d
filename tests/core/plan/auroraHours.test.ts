import { describe, expect, it } from "vitest";

import { planWith } from "../../support/planFixtures.ts";

describe("aurora by the hour of the watch", () => {
  it("takes the least Kp about magnetic midnight for a place equatorward of the oval", () => {
    const plan = planWith({ latitudeDeg: 55.9, longitudeDeg: -3.2, dateIso: "2026-10-25" });
    const known = plan.auroraHours.filter(({ kpForOverhead }) => kpForOverhead !== null);
    const least = Math.min(...known.map(({ kpForOverhead }) => kpForOverhead!));
    const at = known.find(({ kpForOverhead }) => kpForOverhead === least)!;
    const mlt = at.magneticLocalTimeHours;
    expect(Math.min(mlt, 24 - mlt)).toBeLessThan(1.5);
    // 52.7° corrected: the paper's midnight line 66.1 − 1.99 Kp passes it at Kp 6.7.
    expect(least).toBeGreaterThanOrEqual(6.6);
    expect(least).toBeLessThan(7.8);
  });

  it("orders tall rays, lower border and overhead", () => {
    for (const hour of planWith({ latitudeDeg: 58, longitudeDeg: 12 }).auroraHours) {
      const { kpForTops, kpForBorder, kpForOverhead } = hour;
      if (kpForTops === null || kpForBorder === null || kpForOverhead === null) continue;
      expect(kpForTops).toBeLessThanOrEqual(kpForBorder);
      expect(kpForBorder).toBeLessThanOrEqual(kpForOverhead);
    }
  });

  it("has an hour for every full hour of the watch, those of the magnetic day doubtful", () => {
    const plan = planWith();
    const { start, end } = plan.watch!;
    const count = Math.floor(Date.parse(end) / 3.6e6) - Math.ceil(Date.parse(start) / 3.6e6) + 1;
    expect(plan.auroraHours).toHaveLength(count);
    for (const hour of plan.auroraHours) {
      const { magneticLocalTimeHours: mlt } = hour;
      const isByDay = mlt > 4.01 && mlt < 17.99;
      if (hour.kpForTops !== null || hour.kpForOverhead !== null) {
        expect(hour.isDoubtful).toBe(isByDay);
      }
      if (!isByDay) expect(hour.kpForOverhead).not.toBeNull();
    }
  });

  // The noon oval lies near 76° on quiet days (Starkov 1994; Feldstein's oval of 1963 has it at 76 to 78°),
  // and 78.22° N 15.65° E lies at 75.4° corrected: the place of the dayside aurora's observatories.
  it("has the dayside aurora of the polar night near overhead about magnetic noon at 75.4°", () => {
    const plan = planWith({ latitudeDeg: 78.22, longitudeDeg: 15.65, dateIso: "2026-12-10" });
    const noon = plan.auroraHours.filter(
      ({ magneticLocalTimeHours: mlt }) => Math.abs(mlt - 12) < 2,
    );
    expect(noon.length).toBeGreaterThan(1);
    for (const { kpForOverhead, isDoubtful } of noon) {
      expect(kpForOverhead).not.toBeNull();
      expect(kpForOverhead!).toBeLessThan(4);
      expect(isDoubtful).toBe(true);
    }
  });

  // 78.22° N 15.65° E lies at 75.4° corrected; by Starkov 1994 the quiet oval's poleward edge is near 70°
  // at magnetic midnight, far on the equatorward side.
  it("has nothing overhead at Kp 0 about midnight for a place poleward of the quiet oval", () => {
    const plan = planWith({ latitudeDeg: 78.22, longitudeDeg: 15.65, dateIso: "2026-12-10" });
    const midnight = plan.auroraHours.filter(
      ({ magneticLocalTimeHours: mlt }) => Math.min(mlt, 24 - mlt) < 2,
    );
    expect(midnight.length).toBeGreaterThan(1);
    for (const { kpForOverhead } of midnight) expect(kpForOverhead).not.toBe(0);
  });

  it("is empty without a watch", () => {
    expect(planWith({ dateIso: "2026-06-21" }).auroraHours).toEqual([]);
  });
});
