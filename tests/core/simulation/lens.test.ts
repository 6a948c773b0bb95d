import { describe, expect, it } from "vitest";
import { starFwhmPx, vignetting } from "../../../core/simulation/lens.ts";

describe("a simulated lens", () => {
  it("darkens the corner of a full frame by 1 to 2.5 stops wide open (common practice)", () => {
    const corner = Math.log2(vignetting({ focalLengthMm: 16 }, 2.8, 21.63));
    expect(corner).toBeLessThan(-1);
    expect(corner).toBeGreaterThan(-2.5);
  });

  it("darkens less when stopped down, and not at all in the centre or when switched off", () => {
    const lens = { focalLengthMm: 16 };
    expect(vignetting(lens, 8, 20)).toBeGreaterThan(vignetting(lens, 2.8, 20));
    expect(vignetting(lens, 2.8, 0)).toBe(1);
    expect(vignetting({ ...lens, isVignetting: false }, 2.8, 21)).toBe(1);
  });

  it("widens a star by defocus in squares: 30 µm at f/2.8 on 6 µm pixels beside 2 pixels", () => {
    const lens = { focalLengthMm: 16, starFwhmPx: 2 };
    expect(starFwhmPx(lens, 2.8, 6)).toBe(2);
    expect(starFwhmPx({ ...lens, focusErrorUm: 30 }, 2.8, 6)).toBeCloseTo(
      Math.hypot(2, (0.8 * 30) / 2.8 / 6),
      9,
    );
  });

  it("widens stars as dew settles, four times when it is blind", () => {
    const lens = { focalLengthMm: 16, starFwhmPx: 2 };
    expect(starFwhmPx({ ...lens, dewShare: 0.5 }, 2.8, 6)).toBeGreaterThan(4);
    expect(starFwhmPx({ ...lens, dewShare: 7 }, 2.8, 6)).toBe(8);
  });
});
