import { describe, expect, it } from "vitest";

import { DEFAULT_KIT_INPUT, resolveKit } from "../../../core/plan/kit.ts";
import { kitFromCamera } from "../../../core/plan/kitFromCamera.ts";

const NOTHING = { fNumberLadder: [], focalLengthMm: null, imageWidthPx: null, freeBytes: null };

describe("a kit with the camera's word in it", () => {
  it("stays as typed when the camera tells nothing, or tells zeros", () => {
    expect(kitFromCamera(DEFAULT_KIT_INPUT, NOTHING)).toEqual({
      input: DEFAULT_KIT_INPUT,
      reported: [],
    });
    const zeros = { fNumberLadder: [0], focalLengthMm: 0, imageWidthPx: 0, freeBytes: 0 };
    expect(kitFromCamera(DEFAULT_KIT_INPUT, zeros).reported).toEqual([]);
  });

  it("takes widest aperture, focal length, image width and room from the camera", () => {
    const { input, reported } = kitFromCamera(DEFAULT_KIT_INPUT, {
      fNumberLadder: [8, 1.8, 2.8],
      focalLengthMm: 14,
      imageWidthPx: 8256,
      freeBytes: 200e9,
    });
    const kit = resolveKit(input);
    expect(kit).toMatchObject({ fNumberWidest: 1.8, focalLengthMm: 14, cardBytes: 200e9 });
    expect(kit.pixelPitchUm).toBeCloseTo(4.36, 2);
    expect(reported).toContain("fNumberWidest");
  });

  // Exif 2.32 (CIPA DC-008): focal plane resolution in pixels per inch (2) or centimetre (3), widest
  // aperture in APEX (A = 2 log2 N), focal length in 35 mm film's terms.
  const FRAME = {
    focalLengthMm: 10,
    fullFrameFocalLengthMm: 15,
    maxApertureApex: 2.97,
    focalPlaneXResolution: 2554,
    focalPlaneResolutionUnit: 3,
    imageWidthPx: null,
  };

  it("takes sensor, pixel pitch and lens from a frame where the camera itself is silent", () => {
    const { input, reported } = kitFromCamera(DEFAULT_KIT_INPUT, NOTHING, FRAME);
    expect(input).toMatchObject({
      sensorClass: "crop",
      pixelPitchUm: 3.92,
      focalLengthMm: 10,
      fNumberWidest: 2.8,
    });
    expect([...reported].sort()).toEqual([
      "fNumberWidest",
      "focalLengthMm",
      "pixelPitchUm",
      "sensorClass",
    ]);
    const inches = { ...FRAME, focalPlaneXResolution: 6487.2, focalPlaneResolutionUnit: 2 };
    expect(kitFromCamera(DEFAULT_KIT_INPUT, NOTHING, inches).input.pixelPitchUm).toBe(3.92);
  });

  it("believes the camera before the frame, and a frame's pitch before an image's width", () => {
    const camera = { ...NOTHING, fNumberLadder: [1.8, 4], focalLengthMm: 14, imageWidthPx: 6000 };
    const { input } = kitFromCamera(DEFAULT_KIT_INPUT, camera, FRAME);
    expect(input).toMatchObject({ fNumberWidest: 1.8, focalLengthMm: 14, pixelPitchUm: 3.92 });
    expect(input.imageWidthPx).toBeUndefined();
  });

  it.each([
    ["a pitch of a millimetre", { focalPlaneXResolution: 10 }, "pixelPitchUm"],
    ["an unknown unit", { focalPlaneResolutionUnit: 9 }, "pixelPitchUm"],
    ["a lens six times as long on a full frame", { fullFrameFocalLengthMm: 60 }, "sensorClass"],
    ["a lens without contacts", { focalLengthMm: 0 }, "focalLengthMm"],
  ] as const)("passes over %s", (_what, change, field) => {
    const { reported } = kitFromCamera(DEFAULT_KIT_INPUT, NOTHING, { ...FRAME, ...change });
    expect(reported).not.toContain(field);
  });

  it.each([
    [24, 24, "fullFrame"],
    [16, 24, "crop"],
    [12, 24, "fourThirds"],
    [8.8, 24, "oneInch"],
  ])("knows the sensor of %d mm that stand for %d mm", (focalLengthMm, fullFrame, sensorClass) => {
    const frame = { ...FRAME, focalLengthMm, fullFrameFocalLengthMm: fullFrame };
    expect(kitFromCamera(DEFAULT_KIT_INPUT, NOTHING, frame).input.sensorClass).toBe(sensorClass);
  });
});
