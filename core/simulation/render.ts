import { stopsFromMidGrey, type Exposure } from "../exposure/exposure.ts";
import { NightError } from "../errors.ts";
import type { Random } from "../random.ts";
import type { UtcMs } from "../units.ts";
import { develop, type ClipCount } from "./develop.ts";
import { frameGeometry, type FrameGeometry } from "./frameGeometry.ts";
import { dewShareOf, LENS_TRANSMISSION, starFwhmPx, type SimulatedLens } from "./lens.ts";
import { createRenderMemory, geometryIn, type RenderMemory } from "./renderMemory.ts";
import { greenElectrons, type SimulatedSensor } from "./sensor.ts";
import { gridShade, shadeOf } from "./shade.ts";
import type { SimulatedSky } from "./simulatedSky.ts";
import { gridLight, statisticsOf, type FramedSky, type SkyGrid } from "./skyLight.ts";
import { clearSprites } from "./spriteLayer.ts";
import { drawSprites } from "./sprites.ts";
import type { ToneCurve } from "./toneCurve.ts";

export type { SimulatedLens } from "./lens.ts";
export { FULL_FRAME_SENSOR, type SimulatedSensor } from "./sensor.ts";
export { TONE_CURVES, type ToneCurve, type ToneCurveName } from "./toneCurve.ts";

/** What is true of a rendered frame, whatever the picture shows. */
export type FrameTruth = {
  /** Mean luminance of the open sky over the exposure, cd/m²; without stars, the Moon's disc, vignetting. */
  readonly meanSkyCdM2: number;
  /** The same as stops from mid-grey at the frame's exposure, before tone curve and clipping. */
  readonly meanSkyStops: number;
  /** With the lens's darkening toward the corners, as the picture records it. */
  readonly recordedSkyStops: number;
  /** 99.5th percentile over the mean of the open sky's luminance, ≥ 1. */
  readonly peakRatio: number;
  /** Share of the open sky's pixels whose wells are full or whose code is 255, per channel. */
  readonly clippedShare: { readonly red: number; readonly green: number; readonly blue: number };
  /** Share of the picture that is open sky, 0..1. */
  readonly skyShare: number;
  /** Electrons in one of the sensor's own green pixels from the mean sky, on axis. */
  readonly greenElectrons: number;
  /** Full width at half maximum of a still star, pixels of the picture. */
  readonly starFwhmPx: number;
};

export type RenderOptions = {
  readonly sky: SimulatedSky;
  /** Opening of the shutter. */
  readonly openedUtcMs: UtcMs;
  readonly exposure: Exposure;
  /** Of the picture; any size shows the same field, a smaller one with less grain. */
  readonly widthPx: number;
  readonly heightPx: number;
  readonly lens: SimulatedLens;
  readonly sensor: SimulatedSensor;
  readonly toneCurve: ToneCurve;
  /** Draws the grain; the same stream in the same state gives the same bits. */
  readonly random: Random;
  /** What is worked out once for many frames; left out: worked out for this one. */
  readonly memory?: RenderMemory;
};

/** A rendered frame. */
export type RenderedFrame = {
  /** Interleaved, rows from the top; widthPx · heightPx · 3. */
  readonly rgb: Uint8Array;
  readonly truth: FrameTruth;
};

/**
 * The picture that a camera would take of a simulated sky.
 *
 * Light is integrated over the exposure, so stars trail and curtains smear; it becomes electrons
 * with shot, read and dark noise, fills wells channel by channel, and is rendered by white
 * balance, colour matrix and tone curve to 8 bits.
 *
 * @throws NightError `quantity.out_of_range` for a picture without pixels or an exposure that is
 *   none.
 * Sources: see the parts; mid-grey 10 / S and saturation 78 / S lux-seconds by ISO 12232, the lens
 * by ISO 2720 (q = 0.65).
 */
export function renderFrame(options: RenderOptions): RenderedFrame {
  checkOptions(options);
  const { sky, openedUtcMs, exposure, widthPx, heightPx, lens, sensor } = options;
  const memory = options.memory ?? createRenderMemory();
  const frame = {
    ...{ sky, widthPx, heightPx },
    focalLengthMm: lens.focalLengthMm,
    sensorWidthMm: sensor.widthMm,
  };
  const key = [widthPx, heightPx, lens.focalLengthMm, sensor.widthMm].join("/");
  const geometry = geometryIn(memory, sky, key, () => frameGeometry(frame));
  const { grid, view, sprites } = geometry;
  const light = gridLight(sky, grid, openedUtcMs, exposure.exposureSeconds);
  const framed = statisticsOf(grid, light);
  const { meanCdM2 } = framed;
  if (dewShareOf(lens) > 0) addVeil(light, meanCdM2 * 0.6 * dewShareOf(lens));
  const shade = shadeOf(lens, exposure.fNumber, view);
  const shares = gridShade(shade, grid);
  drawSprites({ ...options, geometry, shade, meanSkyCdM2: meanCdM2 });
  const { rgb, clipped } = develop({
    ...options,
    ...{ memory, geometry, light, shade, gridShade: shares },
    landCdM2: (sky.foreground?.albedo ?? 0) * meanCdM2,
  });
  clearSprites(sprites);
  return {
    rgb,
    truth: truthOf(options, {
      ...{ geometry, framed, clipped },
      recordedCdM2: meanCdM2 * meanShade(grid, light, shares),
    }),
  };
}

function truthOf(
  { exposure, lens, sensor }: RenderOptions,
  seen: {
    readonly geometry: FrameGeometry;
    readonly framed: FramedSky;
    readonly clipped: ClipCount;
    readonly recordedCdM2: number;
  },
): FrameTruth {
  const { geometry, framed, clipped, recordedCdM2 } = seen;
  const { view, skyPixelCount } = geometry;
  const skyPixels = Math.max(1, skyPixelCount);
  return {
    meanSkyCdM2: framed.meanCdM2,
    meanSkyStops: stopsFromMidGrey(framed.meanCdM2, exposure),
    recordedSkyStops: stopsFromMidGrey(recordedCdM2, exposure),
    peakRatio: framed.peakRatio,
    clippedShare: {
      red: clipped.red / skyPixels,
      green: clipped.green / skyPixels,
      blue: clipped.blue / skyPixels,
    },
    skyShare: skyPixelCount / (view.widthPx * view.heightPx),
    greenElectrons: greenElectrons({
      luminanceCdM2: framed.meanCdM2,
      exposure,
      transmission: lens.transmission ?? LENS_TRANSMISSION,
      sensor,
    }),
    starFwhmPx: starFwhmPx(lens, exposure.fNumber, view.pitchUm),
  };
}

function checkOptions({ widthPx, heightPx, exposure, lens }: RenderOptions): void {
  const isPicture = Number.isInteger(widthPx) && Number.isInteger(heightPx);
  if (!isPicture || widthPx < 8 || heightPx < 8 || widthPx * heightPx > 6e7) {
    throw new NightError("quantity.out_of_range", "a picture needs 8 pixels each way at least", {
      widthPx,
      heightPx,
    });
  }
  const { exposureSeconds, iso, fNumber } = exposure;
  if (!(exposureSeconds > 0 && exposureSeconds <= 3600 && iso > 0 && fNumber > 0)) {
    throw new NightError("quantity.out_of_range", "an exposure needs time, ISO and f-number", {
      ...exposure,
    });
  }
  if (!(lens.focalLengthMm > 0)) {
    throw new NightError("quantity.out_of_range", "a lens needs a focal length", { ...lens });
  }
}

/** Mean shade of the open sky, weighted by its light. */
function meanShade(grid: SkyGrid, light: Float32Array, shares: Float32Array): number {
  let [sum, total] = [0, 0];
  for (let point = 0; point < shares.length; point += 1) {
    if (grid.isSky[point] === 0) continue;
    const here = light[point * 3 + 1]!;
    sum += here * shares[point]!;
    total += here;
  }
  return total > 0 ? sum / total : 1;
}

function addVeil(light: Float32Array, luminanceCdM2: number): void {
  for (let index = 0; index < light.length; index += 1) light[index]! += luminanceCdM2;
}
