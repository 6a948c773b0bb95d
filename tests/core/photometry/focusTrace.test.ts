import fc from "../../support/properties.ts";
import { describe, expect, it } from "vitest";
import { judgeFocus, type FocusPoint } from "../../../core/photometry/focusTrace.ts";

const trace = (...widths: readonly (number | null)[]): FocusPoint[] =>
  widths.map((widthPx, index) => ({
    index,
    widthPx,
    starCount: widthPx === null ? 0 : 40,
    lightStops: null,
  }));

describe("a focus trace", () => {
  it("says that no star was found when the newest frame has none", () => {
    expect(judgeFocus(trace(3, null)).kind).toBe("noStars");
  });

  it("tells sharpening from softening from neither", () => {
    expect(judgeFocus(trace(8, 7, 6, 5)).kind).toBe("sharpening");
    expect(judgeFocus(trace(4, 4.4, 4.5)).kind).toBe("softening");
    expect(judgeFocus(trace(4, 4.05, 3.97, 4.02)).kind).toBe("steady");
  });

  it("says that the best of 2.6 px was passed once two frames in a row are 15 % wider", () => {
    expect(judgeFocus(trace(6, 4, 2.6, 2.8)).kind).not.toBe("passed");
    expect(judgeFocus(trace(6, 4, 2.6, 3.3, 4.1))).toEqual({
      kind: "passed",
      widthPx: 4.1,
      bestPx: 2.6,
      framesAgo: 2,
    });
  });

  it("says that it is at its best after turning back to it", () => {
    expect(judgeFocus(trace(6, 4, 2.6, 3.3, 4.1, 3.2, 2.65)).kind).toBe("atBest");
  });

  it("does not say so on the way in, when nothing wider has been seen beyond", () => {
    expect(judgeFocus(trace(6, 4, 2.6)).kind).toBe("sharpening");
  });

  it("always has an answer", () => {
    const width = fc.option(fc.double({ min: 0.5, max: 60, noNaN: true }), { nil: null });
    fc.assert(
      fc.property(fc.array(width, { maxLength: 40 }), (widths) => {
        expect(judgeFocus(trace(...widths)).kind).toMatch(/\w/);
      }),
    );
  });
});
