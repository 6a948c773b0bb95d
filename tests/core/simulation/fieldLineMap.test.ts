import { describe, expect, it } from "vitest";
import { elevationOverDeg } from "../../../core/sky/auroraGeometry.ts";
import {
  cellOf,
  fieldAxes,
  fieldCoordinates,
  fieldLineMap,
  sinAltitudeOf,
  type FieldLineMap,
} from "../../../core/simulation/fieldLineMap.ts";
import { addFootSpot } from "../../../core/simulation/footSpot.ts";
import {
  blurFeet,
  heightProfile,
  lineOfSight,
  seenCells,
  sumAlongLines,
  type FeetCopies,
} from "../../../core/simulation/lineOfSight.ts";
import { directionOf, type Direction } from "../../../core/sky/direction.ts";

const NORTHWARD = Array.from({ length: 61 * 60 }, (_, index) =>
  directionOf((index % 61) - 30, 2 + Math.floor(index / 61)),
);

const allCells = (map: FieldLineMap) =>
  seenCells(
    map,
    Array.from({ length: map.columnCount * map.rowCount }, (_, cell) => cell),
  );

const feetOf = (map: FieldLineMap): FeetCopies => {
  const empty = (): Float32Array => new Float32Array(map.columnCount * map.rowCount);
  return [empty(), empty(), empty()];
};

/** Altitude (degrees) of the brightest cell of the column toward an azimuth. */
function brightestAltitude(map: FieldLineMap, light: Float32Array, toward: Direction): number {
  const column = Math.round(cellOf(map, toward).column);
  let best = 0;
  for (let row = 1; row < map.rowCount; row += 1) {
    if (light[column * map.rowCount + row]! > light[column * map.rowCount + best]!) best = row;
  }
  return (Math.asin(sinAltitudeOf(map, column, best)) * 180) / Math.PI;
}

/** Light of one thin layer over a spot at a ground distance to the north, field lines upright. */
function seenOver(distanceKm: number, heightKm: number): number {
  const axes = fieldAxes(89.5, 0);
  const map = fieldLineMap(axes, NORTHWARD, 0.003);
  const feet = feetOf(map);
  addFootSpot(map, feet[0], 0, distanceKm, 10, 4);
  blurFeet(map, feet);
  const layer = heightProfile(
    [heightKm - 1, heightKm, heightKm + 1],
    () => 1,
    () => 0,
  );
  const light = new Float32Array(map.columnCount * map.rowCount);
  sumAlongLines(map, feet, lineOfSight(map, layer, 0), allCells(map), light);
  return brightestAltitude(map, light, directionOf(0, 30));
}

describe("a map along the field lines", () => {
  it("is summed to the same numbers where it is looked at, and is dark elsewhere", () => {
    const map = fieldLineMap(fieldAxes(78, 12), NORTHWARD, 0.02);
    const feet = feetOf(map);
    addFootSpot(map, feet[0], 0, 150, 10, 30);
    blurFeet(map, feet);
    const layer = heightProfile(
      [100, 110, 120, 180],
      () => 1,
      (heightKm) => (heightKm < 115 ? 0 : 2),
    );
    const sight = lineOfSight(map, layer, 0);
    const whole = new Float32Array(map.columnCount * map.rowCount);
    const part = new Float32Array(map.columnCount * map.rowCount);
    sumAlongLines(map, feet, sight, allCells(map), whole);
    const bright = whole.indexOf(Math.max(...whole));
    sumAlongLines(map, feet, sight, seenCells(map, [bright - 3, bright + 2]), part);
    const isSeen = (cell: number): boolean => cell >= bright - 3 && cell <= bright + 2;
    expect([...part]).toEqual([...whole].map((light, cell) => (isSeen(cell) ? light : 0)));
    expect(part[bright]).toBeGreaterThan(0);
  });

  // Elevations: plain geometry on the sphere, as published for 110 and 250 km (see auroraGeometry).
  it.each([
    [100, 110],
    [200, 110],
    [300, 110],
    [500, 110],
    [200, 250],
    [300, 250],
    [500, 250],
  ])("sees light over %d km away at %d km high where the curved Earth puts it", (km, height) => {
    // Lines parallel to the place's own are not quite upright far away: 4° at 500 km.
    const tolerance = height === 110 ? 0.3 : 0.85;
    expect(Math.abs(seenOver(km, height) - elevationOverDeg(km, height))).toBeLessThan(tolerance);
  });

  it("finds its way from a direction to a cell and back", () => {
    const axes = fieldAxes(78.4, 15.3);
    const map = fieldLineMap(axes, NORTHWARD, 0.004);
    for (const altitude of [5, 20, 45, 60]) {
      const { column, row } = cellOf(map, directionOf(12, altitude));
      const sine = sinAltitudeOf(map, column, row);
      expect((Math.asin(sine) * 180) / Math.PI).toBeCloseTo(altitude, 3);
    }
  });

  it("keeps points of one straight field line in one column", () => {
    const axes = fieldAxes(76, 10);
    const foot: Direction = [40, 160, 110];
    const thetas = [0, 20, 60, 140].map((along) => {
      const [east, north, up] = foot.map((part, index) => part + along * axes.zenith[index]!);
      const length = Math.hypot(east!, north!, up!);
      return fieldCoordinates(axes, [east! / length, north! / length, up! / length]).theta;
    });
    for (const theta of thetas) expect(theta).toBeCloseTo(thetas[0]!, 9);
  });

  it("puts the magnetic zenith equatorward of the true one in both hemispheres", () => {
    expect(fieldAxes(78, 0).zenith[1]).toBeLessThan(0);
    expect(fieldAxes(-70, 0).zenith[1]).toBeGreaterThan(0);
  });

  it("shows an even sheet overhead at its own brightness: shares add up to the zenith column", () => {
    const axes = fieldAxes(89.5, 0);
    const around = Array.from({ length: 400 }, (_, index) =>
      directionOf(index * 0.9, 60 + (index % 30)),
    );
    const map = fieldLineMap(axes, around, 0.02);
    const feet = feetOf(map);
    feet[0].fill(7);
    blurFeet(map, feet);
    const profile = heightProfile(
      [100, 105, 110, 115, 120],
      () => 1,
      () => 0,
    );
    const light = new Float32Array(map.columnCount * map.rowCount);
    sumAlongLines(map, feet, lineOfSight(map, profile, 0), allCells(map), light);
    const { column, row } = cellOf(map, directionOf(0, 85));
    const value = light[Math.round(column) * map.rowCount + Math.round(row)]!;
    expect(value / 7).toBeCloseTo(1, 1);
  });

  it("keeps a spot's light whatever the fineness, within 8 %", () => {
    const total = (step: number): number => {
      const map = fieldLineMap(fieldAxes(78, 15), NORTHWARD, step);
      const feet = feetOf(map)[0];
      addFootSpot(map, feet, 20, 250, 10, 3);
      return feet.reduce((sum, light) => sum + light, 0) * map.thetaStep * map.wStep;
    };
    expect(total(0.02) / total(0.002)).toBeGreaterThan(0.92);
    expect(total(0.02) / total(0.002)).toBeLessThan(1.08);
  });
});
