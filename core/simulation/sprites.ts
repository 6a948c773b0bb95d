import type { Exposure } from "../exposure/exposure.ts";
import { createRandom } from "../random.ts";
import type { UtcMs } from "../units.ts";
import { skyMoment } from "./clearSky.ts";
import type { FrameGeometry } from "./frameGeometry.ts";
import { LAMP_HUE } from "./hutWindow.ts";
import { dewShareOf, LENS_TRANSMISSION, starFwhmPx, type SimulatedLens } from "./lens.ts";
import { channelGrain, linearPerCdM2, type SimulatedSensor } from "./sensor.ts";
import { drawMoon } from "./moonDisc.ts";
import { shadeAt, type Shade } from "./shade.ts";
import type { SimulatedSky } from "./simulatedSky.ts";
import { addSprite } from "./spriteLayer.ts";
import { drawStars, type PixelSink } from "./starField.ts";

type SpriteOptions = {
  readonly sky: SimulatedSky;
  readonly openedUtcMs: UtcMs;
  readonly exposure: Exposure;
  readonly lens: SimulatedLens;
  readonly sensor: SimulatedSensor;
  readonly geometry: FrameGeometry;
  readonly shade: Shade;
  /** Mean luminance of the open sky, before which a star has to be seen, cd/m². */
  readonly meanSkyCdM2: number;
};

/** Draws what is smaller than the grid into the geometry's sprites, as linear light. */
export function drawSprites(options: SpriteOptions): void {
  const { sky, openedUtcMs, exposure, lens, geometry } = options;
  const { view } = geometry;
  const { exposureSeconds } = exposure;
  const sink = skySink(options);
  drawStars({
    sky,
    view,
    openedUtcMs,
    seconds: exposureSeconds,
    fwhmPx: starFwhmPx(lens, exposure.fNumber, view.pitchUm),
    strength: 1 - 0.7 * dewShareOf(lens),
    meanSkyCdM2: options.meanSkyCdM2,
    sink,
  });
  if (sky.clear?.hasMoon === true) {
    const moment = skyMoment(sky.place, (openedUtcMs + exposureSeconds * 500) as UtcMs);
    drawMoon({ sky, view, moment, sink });
  }
  drawWindow(options);
  drawHotPixels(options);
}

/** Takes luminance in the sky; the land hides it and the lens shades it. */
function skySink({ exposure, geometry, shade }: SpriteOptions): PixelSink {
  const { view, land, sprites } = geometry;
  const { widthPx } = view;
  const perCdM2 = linearPerCdM2(exposure);
  return (pixel, red, green, blue) => {
    const open = 1 - land[pixel]! / 255;
    if (open <= 0) return;
    const y = Math.floor(pixel / widthPx);
    const scale = perCdM2 * open * shadeAt(shade, pixel - y * widthPx + 0.5, y + 0.5);
    addSprite(sprites, pixel, red * scale, green * scale, blue * scale);
  };
}

/** The hut's lit window, which stands before everything else. */
function drawWindow({ sky, exposure, geometry, shade }: SpriteOptions): void {
  const luminanceCdM2 = sky.foreground?.window?.luminanceCdM2 ?? 0;
  const { view, sprites, window } = geometry;
  const perCdM2 = linearPerCdM2(exposure);
  window.pixels.forEach((pixel, index) => {
    const y = Math.floor(pixel / view.widthPx);
    const shaded = shadeAt(shade, pixel - y * view.widthPx + 0.5, y + 0.5);
    const light = window.shares[index]! * luminanceCdM2 * perCdM2 * shaded;
    addSprite(sprites, pixel, light * LAMP_HUE[0], light * LAMP_HUE[1], light * LAMP_HUE[2]);
  });
}

/** Hot pixels: where they are comes from the sensor's seed, how bright from the time. */
function drawHotPixels({ sensor, exposure, lens, geometry }: SpriteOptions): void {
  const { view, sprites } = geometry;
  const random = createRandom(`hot pixels ${sensor.hotPixelSeed}`);
  const channels = ["red", "green", "blue"] as const;
  for (let index = 0; index < sensor.hotPixelCount; index += 1) {
    const x = Math.floor(random.uniform() * view.widthPx);
    const y = Math.floor(random.uniform() * view.heightPx);
    const channel = random.integer(3);
    const electronsPerSecond = 8 * Math.exp(1.6 * random.normal());
    const grain = channelGrain({
      channel: channels[channel]!,
      exposure,
      transmission: lens.transmission ?? LENS_TRANSMISSION,
      sensor,
      pitchUm: view.pitchUm,
    });
    const electrons = electronsPerSecond * exposure.exposureSeconds;
    const light = (electrons * grain.perElectron) / grain.pixelCount;
    const glow = [0, 0, 0];
    glow[channel] = light;
    addSprite(sprites, y * view.widthPx + x, glow[0]!, glow[1]!, glow[2]!);
  }
}
