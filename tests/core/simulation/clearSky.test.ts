import { describe, expect, it } from "vitest";
import { clearSkyLight, skyMoment, type ClearSky } from "../../../core/simulation/clearSky.ts";
import { noiseLine } from "../../../core/simulation/noise.ts";
import { directionOf, dot, type Direction } from "../../../core/sky/direction.ts";
import type { UtcMs } from "../../../core/units.ts";

const PLACE = { latitudeDeg: 68.9, longitudeDeg: 27 };
const MOTTLE = noiseLine("mottle");
const BARE: ClearSky = {
  zenithMag: 22,
  extinctionMag: 0.2,
  hasTwilight: false,
  hasMoon: false,
  hasMilkyWay: false,
  town: null,
};

/** What the filters see toward a direction: red, green (luminance), blue. */
function seen(sky: ClearSky, utcMs: number, toward: Direction): number[] {
  const light = [0, 0, 0];
  clearSkyLight(sky, skyMoment(PLACE, utcMs as UtcMs), MOTTLE).add(toward, light, 0);
  return light;
}

describe("a clear sky", () => {
  const night = Date.UTC(2026, 9, 5, 21);
  const zenith = directionOf(0, 90);

  it("is 22.00 mag/arcsec² overhead: 1.712e-4 cd/m²", () => {
    expect(seen(BARE, night, zenith)[1]! / 1.712e-4).toBeCloseTo(1, 2);
  });

  it("brightens toward the horizon, as the airglow is seen at a slant, by a factor of 1.5 to 4", () => {
    const rise = seen(BARE, night, directionOf(0, 5))[1]! / seen(BARE, night, zenith)[1]!;
    expect(rise).toBeGreaterThan(1.5);
    expect(rise).toBeLessThan(4);
  });

  it("glows toward the Sun's horizon in twilight, warmer there than overhead", () => {
    const sky = { ...BARE, hasTwilight: true };
    const dusk = Date.UTC(2026, 9, 5, 16, 40);
    const { sun } = skyMoment(PLACE, dusk as UtcMs);
    const toward = seen(sky, dusk, directionOf(sun.azimuthDeg, 3));
    const away = seen(sky, dusk, directionOf(sun.azimuthDeg + 180, 3));
    const above = seen(sky, dusk, zenith);
    expect(toward[1]!).toBeGreaterThan(3 * away[1]!);
    expect(toward[0]! / toward[2]!).toBeGreaterThan(1.5 * (above[0]! / above[2]!));
  });

  it("shows a town only on its own horizon", () => {
    const town = { azimuthDeg: 300, peakCdM2: 1e-3, widthDeg: 12, heightDeg: 4 };
    const sky = { ...BARE, town };
    const gain = (azimuthDeg: number, altitudeDeg: number): number =>
      seen(sky, night, directionOf(azimuthDeg, altitudeDeg))[1]! -
      seen(BARE, night, directionOf(azimuthDeg, altitudeDeg))[1]!;
    expect(gain(300, 1)).toBeGreaterThan(6e-4);
    expect(gain(300, 40)).toBeLessThan(1e-6);
    expect(gain(120, 1)).toBe(0);
  });

  it("carries the Milky Way where the galaxy's plane is, no brighter than IBC I twice over", () => {
    const sky = { ...BARE, hasMilkyWay: true };
    const { galaxy } = skyMoment(PLACE, night as UtcMs);
    // Of the plane's two axes and their opposites the one that stands highest: low down the air takes it.
    const [pole, axes] = [galaxy[2], [galaxy[0], galaxy[1]]];
    const plane = axes
      .flatMap(([x, y, z]): Direction[] => [
        [x, y, z],
        [-x, -y, -z],
      ])
      .reduce((highest, axis) => (axis[2] > highest[2] ? axis : highest));
    const gain = (toward: Direction): number =>
      seen(sky, night, toward)[1]! - seen(BARE, night, toward)[1]!;
    expect(dot(pole, plane)).toBeCloseTo(0, 9);
    expect(gain(plane)).toBeGreaterThan(2e-5);
    expect(gain(plane)).toBeLessThan(4e-4);
    expect(gain(pole)).toBe(0);
  });
});

describe("the turn of the sky", () => {
  it("leaves the celestial pole at the latitude's altitude in the north, within 0.2° of date", () => {
    const { stars } = skyMoment(PLACE, Date.UTC(2026, 9, 5, 21) as UtcMs);
    const pole: Direction = [0, 0, 1];
    const here = [dot(stars[0], pole), dot(stars[1], pole), dot(stars[2], pole)];
    expect(Math.abs((Math.asin(here[2]!) * 180) / Math.PI - 68.9)).toBeLessThan(0.2);
    expect(Math.abs((Math.atan2(here[0]!, here[1]!) * 180) / Math.PI)).toBeLessThan(0.5);
  });
});
