import { expect, test } from "vitest";
import {
  luminanceCdM2Of,
  MID_GREY_LUX_SECONDS_ISO,
  SATURATION_LUX_SECONDS_ISO,
  stopsFromMidGrey,
} from "../../core/exposure/exposure.ts";
import { startMeter, meterFrame } from "../../core/photometry/meter.ts";
import { monotonicMs } from "../../core/units.ts";

// Source: ISO 12232 (SOS: S = 10 / H for code 118; S_sat = 78 / H), from memory of the standard.

test("mid-grey lies 12.8 % up to saturation, 2.963 stops below it", () => {
  expect(MID_GREY_LUX_SECONDS_ISO / SATURATION_LUX_SECONDS_ISO).toBeCloseTo(0.128, 3);
  expect(Math.log2(SATURATION_LUX_SECONDS_ISO / MID_GREY_LUX_SECONDS_ISO)).toBeCloseTo(2.963, 3);
});

test("saturation at ISO 1600 is 0.04875 lx s and at ISO 6400 0.01219 lx s", () => {
  expect(SATURATION_LUX_SECONDS_ISO / 1600).toBeCloseTo(0.04875, 5);
  expect(SATURATION_LUX_SECONDS_ISO / 6400).toBeCloseTo(0.01219, 5);
});

test("10 kR of 557.7 nm (1.933e-3 cd/m²) at 15 s, f/2.8, ISO 1600 is 1.38 stops under mid-grey", () => {
  const exposure = { exposureSeconds: 15, iso: 1600, fNumber: 2.8 };
  expect(stopsFromMidGrey(1.933e-3, exposure)).toBeCloseTo(-1.38, 2);
});

test("a grey frame of code 118 meters as 0 stops, that is 10 / S lux-seconds", () => {
  const exposure = { exposureSeconds: 4, iso: 800, fNumber: 2 };
  const { reading } = meterFrame(
    startMeter({ focalLengthMm: 16, pixelPitchUm: 6, fullWidthPx: 6000 }),
    {
      widthPx: 120,
      heightPx: 80,
      rgb: new Uint8Array(120 * 80 * 3).fill(118),
      exposure,
      openedMs: monotonicMs(0),
    },
  );
  expect(reading.skyStops).toBeCloseTo(0, 3);
  expect(reading.skyLuminanceCdM2).toBeCloseTo(luminanceCdM2Of(0, exposure), 5);
  // H = 0.65 L t / N² = 10 / S.
  expect((0.65 * reading.skyLuminanceCdM2 * 4) / 4).toBeCloseTo(10 / 800, 4);
});
