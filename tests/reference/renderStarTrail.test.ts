/**
 * Star trails in the renderer against the sidereal rate.
 *
 * Source: 15.0411″/s (360 · 3600 / 86164.0905 s); drift on the axis in pixels is
 * t · 15.0411 · cos δ · f / (206265 p). The table is worked from that, tolerance 1 %.
 */
import { describe, expect, it } from "vitest";
import { drawStars } from "../../core/simulation/starField.ts";
import { starScene, SCENE_START_UTC_MS } from "../support/scenes.ts";
import { viewOf } from "../../core/simulation/view.ts";
import { FULL_FRAME_SENSOR } from "../../core/simulation/render.ts";
import { channelOf, makeFramePicture } from "../support/renderedFrame.ts";

/** From 45° N: a star that culminates in the frame's middle with this declination. */
function placeFor(declinationDeg: number) {
  const altitude = 45 + declinationDeg;
  const isNorth = altitude > 90;
  return {
    latitudeDeg: 45,
    longitudeDeg: 0,
    azimuthDeg: isNorth ? 0 : 180,
    altitudeDeg: isNorth ? 180 - altitude : altitude,
  };
}

/** Length of an even streak from the spread of its light: variance = width² + length² / 12. */
function streakPx(light: Float64Array, widthPx: number): number {
  let [sum, sx, sy, sxx, syy, sxy] = [0, 0, 0, 0, 0, 0];
  light.forEach((value, pixel) => {
    const [x, y] = [pixel % widthPx, Math.floor(pixel / widthPx)];
    sum += value;
    sx += value * x;
    sy += value * y;
    sxx += value * x * x;
    syy += value * y * y;
    sxy += value * x * y;
  });
  const [mx, my] = [sx / sum, sy / sum];
  const [vx, vy, vxy] = [sxx / sum - mx * mx, syy / sum - my * my, sxy / sum - mx * my];
  const spread = Math.hypot((vx - vy) / 2, vxy);
  return Math.sqrt(12 * 2 * spread);
}

function drawn(options: {
  focalLengthMm: number;
  pitchUm: number;
  declinationDeg: number;
  seconds: number;
}): number {
  const { focalLengthMm, pitchUm, declinationDeg, seconds } = options;
  const place = placeFor(declinationDeg);
  const sky = starScene({ place, stars: [{ ...place, magnitude: 0 }] });
  const view = viewOf({
    centre: place,
    focalLengthMm,
    sensorWidthMm: (81 * pitchUm) / 1000,
    widthPx: 81,
    heightPx: 81,
  });
  const light = new Float64Array(81 * 81);
  drawStars({
    sky,
    view,
    openedUtcMs: SCENE_START_UTC_MS,
    seconds,
    fwhmPx: 2.4,
    strength: 1,
    meanSkyCdM2: 0,
    sink: (pixel, _red, green) => {
      light[pixel]! += green;
    },
  });
  return streakPx(light, 81);
}

describe("star trails", () => {
  it.each([
    [14, 6.0, 0, 2.55],
    [14, 6.0, 45, 1.8],
    [14, 6.0, 70, 0.87],
    [20, 6.0, 0, 3.65],
    [20, 6.0, 70, 1.25],
    [24, 4.36, 0, 6.02],
    [24, 4.36, 45, 4.25],
    [11, 3.917, 0, 3.07],
    [12, 3.337, 0, 3.93],
  ])(
    "of %d mm on %d µm at declination %d are %d px long in 15 s, to 1 % and rounding",
    (focalLengthMm, pitchUm, declinationDeg, px) => {
      const found = drawn({ focalLengthMm, pitchUm, declinationDeg, seconds: 15 });
      expect(Math.abs(found - px)).toBeLessThan(0.01 * px + 0.006);
    },
  );

  it("grow with time: four times as long in a minute, to 0.5 %", () => {
    const options = { focalLengthMm: 24, pitchUm: 6, declinationDeg: 0 };
    const ratio = drawn({ ...options, seconds: 60 }) / drawn({ ...options, seconds: 15 });
    expect(Math.abs(ratio / 4 - 1)).toBeLessThan(0.005);
  });

  it("show in the developed picture too: 60 s at 24 mm on 6 µm are 17.5 px, to 6 %", () => {
    const place = placeFor(0);
    const frame = makeFramePicture({
      sky: starScene({ place, stars: [{ ...place, magnitude: 1 }], luminanceCdM2: 0 }),
      exposure: { exposureSeconds: 60, iso: 100, fNumber: 5.6 },
      lens: { focalLengthMm: 24, isVignetting: false, starFwhmPx: 2.4 },
      sensor: {
        ...FULL_FRAME_SENSOR,
        widthMm: 0.486,
        heightMm: 0.486,
        hotPixelCount: 0,
        readNoiseElectrons: 0,
        darkElectronsPerSecond: 0,
      },
      widthPx: 81,
      heightPx: 81,
    });
    const codes = channelOf(frame, 1);
    const peak = codes.reduce((most, code) => Math.max(most, code), 0);
    const bright = codes.map((code) => (code > peak / 2 ? 1 : 0));
    // Half the peak's code is near the streak's end: its middle half-width counts twice.
    const columns = new Set<number>();
    bright.forEach((lit, pixel) => lit === 1 && columns.add(pixel % 81));
    const expected = (60 * 15.0411 * 24) / (206265 * 0.006);
    expect(expected).toBeCloseTo(17.5, 1);
    expect(Math.abs(columns.size - expected)).toBeLessThan(0.06 * expected + 1);
  });
});
