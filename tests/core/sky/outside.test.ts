import { describe, expect, it } from "vitest";
import { outsideAt } from "../../../core/sky/outside.ts";
import { placeOf } from "../../../core/sky/place.ts";

const at = (latitudeDeg: number, longitudeDeg: number) =>
  placeOf({ latitudeDeg, longitudeDeg, elevationM: 0 });

/** Civil twilight as almanacs define it; the moments by the Sun's symmetry at an equinox and a solstice. */
describe("whether it is dark outside", () => {
  it.each([
    // On the equator at the equinox the Sun sinks 15° an hour: 6° down 24 minutes after 18 h local solar time.
    ["20 minutes after sunset on the equator", "2026-03-20T18:27:00Z", at(0, 0), "light"],
    ["35 minutes after sunset on the equator", "2026-03-20T18:42:00Z", at(0, 0), "dark"],
    [
      "at noon of the polar night, 68.9° N, Sun 2° down",
      "2026-12-21T10:10:00Z",
      at(68.9, 27),
      "light",
    ],
    ["at noon of the polar night, 78° N, Sun 11° down", "2026-12-21T11:00:00Z", at(78, 15), "dark"],
    ["at midnight of the polar day", "2026-06-21T22:10:00Z", at(68.9, 27), "light"],
  ] as const)("%s", (_, time, place, outside) => {
    expect(outsideAt(Date.parse(time), place)).toBe(outside);
  });

  it("is unknown without a place", () => {
    expect(outsideAt(Date.parse("2026-03-20T18:27:00Z"), null)).toBe("unknown");
  });
});
