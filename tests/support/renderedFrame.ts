import {
  FULL_FRAME_SENSOR,
  renderFrame,
  TONE_CURVES,
  type RenderedFrame,
  type RenderOptions,
} from "../../core/simulation/render.ts";
import { createRandom } from "../../core/random.ts";
import { SCENE_START_UTC_MS, uniformScene } from "./scenes.ts";

/** Renders with full defaults: a small picture of a grey sky through a lens without vignetting. */
export function makeFramePicture(options: Partial<RenderOptions> = {}): RenderedFrame {
  return renderFrame({
    sky: uniformScene({ luminanceCdM2: 1e-3 }),
    openedUtcMs: SCENE_START_UTC_MS,
    exposure: { exposureSeconds: 15, iso: 1600, fNumber: 2.8 },
    widthPx: 96,
    heightPx: 64,
    lens: { focalLengthMm: 16, isVignetting: false },
    sensor: { ...FULL_FRAME_SENSOR, hotPixelCount: 0 },
    toneCurve: TONE_CURVES.mild,
    random: createRandom("picture"),
    ...options,
  });
}

/** Mean code of a channel (0 red, 1 green, 2 blue), over all pixels or a box of them. */
export function meanCode(frame: RenderedFrame, channel: 0 | 1 | 2): number {
  let sum = 0;
  for (let index = channel; index < frame.rgb.length; index += 3) sum += frame.rgb[index]!;
  return (sum * 3) / frame.rgb.length;
}

/** Light of one channel as a picture of numbers, rows from the top. */
export function channelOf(frame: RenderedFrame, channel: 0 | 1 | 2): Float64Array {
  return Float64Array.from(
    { length: frame.rgb.length / 3 },
    (_, pixel) => frame.rgb[pixel * 3 + channel]!,
  );
}
