import { expect, it } from "vitest";
import { requirePictures } from "../../../controller/night/frameCounts.ts";

it("a run of 12 frames without one picture has failed", () => {
  expect(() => requirePictures({ metered: 0, missing: 12 })).toThrow(
    expect.objectContaining({
      code: "camera.frame_missing",
      message: expect.stringMatching(
        /^No picture came of any of the 12 frames; .* why\./,
      ) as string,
    }),
  );
});

it("a run with one picture in 12 frames has not, nor has one without frames", () => {
  expect(() => requirePictures({ metered: 1, missing: 11 })).not.toThrow();
  expect(() => requirePictures({ metered: 0, missing: 0 })).not.toThrow();
});
