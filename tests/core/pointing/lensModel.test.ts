import { describe, expect, test } from "vitest";
import { pointAt, rayAt, type LensModel } from "../../../core/pointing/lensModel.ts";

const LENS: LensModel = {
  ...{ widthPx: 1536, heightPx: 1024, pxPerRad: 690 },
  radial: [0.06, -0.03, 0.02, -0.01],
  axisPx: [3.2, -2.1],
};

describe("a lens's terms", () => {
  test.each([
    [768, 512],
    [0, 0],
    [1536, 1024],
    [1200, 80],
    [771.2, 509.9],
  ])("lead from the point (%f, %f) to a direction and back within 0.001 px", (x, y) => {
    const point = pointAt(LENS, rayAt(LENS, x, y));
    expect(Math.hypot(point![0] - x, point![1] - y)).toBeLessThan(0.001);
  });

  test("show nothing that lies behind the camera", () => {
    expect(pointAt(LENS, [0.1, 0.2, -1])).toBeNull();
  });
});
