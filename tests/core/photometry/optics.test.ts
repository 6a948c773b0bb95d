import { describe, expect, test } from "vitest";
import { opticsOf, type PictureFacts, type GivenOptics } from "../../../core/photometry/optics.ts";

const NOTHING: PictureFacts = {
  ...{ focalLengthMm: null, fullFrameFocalLengthMm: null, maxApertureApex: null },
  ...{ focalPlaneXResolution: null, focalPlaneResolutionUnit: null, imageWidthPx: null },
  ...{ uprightWidthPx: 1536, uprightHeightPx: 1024 },
};
const GIVEN: GivenOptics = { focalLengthMm: 16, sensorWidthMm: null, pixelPitchUm: null };

// Exif 2.32 (CIPA DC-008): tags A20E and A210 are pixels of the image on the sensor per inch (2) or
// centimetre (3); 6000 pixels on 23.5 mm are 2553.2 a centimetre.
const CROP = { focalPlaneXResolution: 2553.2, focalPlaneResolutionUnit: 3, imageWidthPx: 6000 };

describe("the sensor's width", () => {
  test("is the kit's, where one is given", () => {
    const given = { ...GIVEN, sensorWidthMm: 17.3 };
    const optics = opticsOf(given, { ...NOTHING, ...CROP }, null);
    expect(optics.acrossMm).toBe(17.3);
    expect(optics.remarks.join()).toMatch(/17\.3 mm wide, the picture says 23\.5 mm/);
  });

  test("else follows from the focal plane's resolution, 23.5 mm for a crop sensor", () => {
    const optics = opticsOf(GIVEN, { ...NOTHING, ...CROP }, null);
    expect(optics).toMatchObject({ isSensorKnown: true, fullWidthPx: 6000, remarks: [] });
    expect(optics.acrossMm).toBeCloseTo(23.5, 1);
    expect(optics.pixelPitchUm).toBeCloseTo(3.92, 2);
  });

  test("is not taken from a preview's own width with the sensor's resolution", () => {
    const preview = { ...NOTHING, ...CROP, imageWidthPx: 1536 };
    expect(opticsOf(GIVEN, preview, 6000).isSensorKnown).toBe(false);
    const withLens = { ...preview, focalLengthMm: 16, fullFrameFocalLengthMm: 24 };
    expect(opticsOf(GIVEN, withLens, 6000).acrossMm).toBeCloseTo(24, 5);
  });

  test("else follows from the lens in full-frame terms, else from pixels with the kit's pitch", () => {
    const lens = { ...NOTHING, focalLengthMm: 12, fullFrameFocalLengthMm: 24 };
    expect(opticsOf(GIVEN, lens, null).acrossMm).toBe(18);
    const given = { ...GIVEN, pixelPitchUm: 3.9 };
    expect(opticsOf(given, NOTHING, 6000).acrossMm).toBeCloseTo(23.4, 6);
  });

  test("else is said not to be known, and so is the number of pixels", () => {
    const optics = opticsOf(GIVEN, NOTHING, null);
    expect(optics).toMatchObject({ isSensorKnown: false, isPixelCountKnown: false });
    expect(optics.remarks).toEqual([
      expect.stringMatching(/^The sensor's width is not known/),
      expect.stringMatching(/^How many pixels wide/),
    ]);
  });

  test("lies upright where the picture does: its short side is across", () => {
    const upright = { ...NOTHING, ...CROP, uprightWidthPx: 1024, uprightHeightPx: 1536 };
    const optics = opticsOf(GIVEN, upright, null);
    expect(optics.acrossMm).toBeCloseTo(23.5 / 1.5, 1);
    expect(optics.fullWidthPx).toBe(4000);
    expect(optics.pixelPitchUm).toBeCloseTo(3.92, 2);
  });
});

describe("the focal length", () => {
  const lens = { ...NOTHING, ...CROP, focalLengthMm: 16, fullFrameFocalLengthMm: 24 };

  test("that was given as its full-frame equivalent is said to be one, and the lens's own counts", () => {
    const optics = opticsOf({ ...GIVEN, focalLengthMm: 24 }, lens, null);
    expect(optics.focalLengthMm).toBe(16);
    expect(optics.remarks).toEqual([
      "24 mm is what this lens is worth on a full frame; its own focal length is 16 mm, and counts.",
    ]);
  });

  test("of another lens than was given is the picture's, and is said to be", () => {
    const optics = opticsOf({ ...GIVEN, focalLengthMm: 35 }, lens, null);
    expect(optics.focalLengthMm).toBe(16);
    expect(optics.remarks.join()).toContain("The picture says 16 mm, the settings 35 mm");
  });

  test("is what was given where a lens has no contacts", () => {
    expect(opticsOf({ ...GIVEN, focalLengthMm: 35 }, NOTHING, 6000).focalLengthMm).toBe(35);
  });
});
