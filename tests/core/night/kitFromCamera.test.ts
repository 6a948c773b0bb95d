import { describe, expect, it } from "vitest";

import { DEFAULT_KIT_INPUT, resolveKit } from "../../../core/night/kit.ts";
import { kitFromCamera } from "../../../core/night/kitFromCamera.ts";

const NOTHING = { fNumberLadder: [], focalLengthMm: null, imageWidthPx: null, freeBytes: null };

describe("a kit with the camera's word in it", () => {
  it("stays as typed when the camera tells nothing, or tells zeros", () => {
    expect(kitFromCamera(DEFAULT_KIT_INPUT, NOTHING)).toEqual({
      input: DEFAULT_KIT_INPUT,
      told: [],
    });
    const zeros = { fNumberLadder: [0], focalLengthMm: 0, imageWidthPx: 0, freeBytes: 0 };
    expect(kitFromCamera(DEFAULT_KIT_INPUT, zeros).told).toEqual([]);
  });

  it("takes widest aperture, focal length, image width and room from the camera", () => {
    const { input, told } = kitFromCamera(DEFAULT_KIT_INPUT, {
      fNumberLadder: [8, 1.8, 2.8],
      focalLengthMm: 14,
      imageWidthPx: 8256,
      freeBytes: 200e9,
    });
    const kit = resolveKit(input);
    expect(kit).toMatchObject({ fNumberWidest: 1.8, focalLengthMm: 14, cardBytes: 200e9 });
    expect(kit.pixelPitchUm).toBeCloseTo(4.36, 2);
    expect(told).toContain("fNumberWidest");
  });
});
