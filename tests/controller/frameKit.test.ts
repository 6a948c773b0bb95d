import sharp from "sharp";
import { expect, test } from "vitest";

import { frameKitOf } from "../../controller/frameKit.ts";

const GREY = { create: { width: 8, height: 8, channels: 3, background: "#808080" } } as const;

test("reads sensor and lens from the Exif that another library has written", async () => {
  const jpeg = await sharp(GREY)
    .jpeg()
    .withExif({
      IFD2: {
        FocalLength: "10/1",
        FocalLengthIn35mmFilm: "15",
        MaxApertureValue: "297/100",
        FocalPlaneXResolution: "2554/1",
        FocalPlaneResolutionUnit: "3",
      },
    })
    .toBuffer();
  expect(await frameKitOf(jpeg)).toEqual({
    focalLengthMm: 10,
    fullFrameFocalLengthMm: 15,
    maxApertureApex: 2.97,
    focalPlaneXResolution: 2554,
    focalPlaneResolutionUnit: 3,
    imageWidthPx: 8,
  });
});

test("knows nothing of a picture without Exif, or of what is no picture", async () => {
  const nothing = {
    focalLengthMm: null,
    fullFrameFocalLengthMm: null,
    maxApertureApex: null,
    focalPlaneXResolution: null,
    focalPlaneResolutionUnit: null,
    imageWidthPx: null,
  };
  expect(await frameKitOf(await sharp(GREY).jpeg().toBuffer())).toEqual(nothing);
  expect(await frameKitOf(Buffer.from("no picture"))).toEqual(nothing);
});
