import sharp from "sharp";
import { createRandom } from "../../core/random.ts";
import { FULL_FRAME_SENSOR, renderFrame, TONE_CURVES } from "../../core/simulation/render.ts";
import { createRenderMemory } from "../../core/simulation/renderMemory.ts";
import { createSky, DEMO_NIGHT, HUT_SEVEN } from "../../core/simulation/sky.ts";
import type { UtcMs } from "../../core/units.ts";
import type { BenchRow } from "./benchRow.ts";
import { medianOf } from "../../core/statistics.ts";

/** One for all the frames rendered here: what it keeps takes longer to work out than a frame. */
const memory = createRenderMemory();

/** Moments of the demo night, as shares of it, with a fitting exposure. */
const MOMENTS = [
  { name: "dusk", share: 0.02, exposureSeconds: 2, iso: 100 },
  { name: "quiet arc", share: 0.25, exposureSeconds: 15, iso: 3200 },
  { name: "breakup", share: 0.373, exposureSeconds: 4, iso: 1600 },
  { name: "pulsation", share: 0.72, exposureSeconds: 10, iso: 3200 },
] as const;

const ROUNDS = 7;

/**
 * Time to render a 1500 × 1000 preview of the demo night on one core, beside encoding that very
 * picture as JPEG (sharp, quality 90, one thread).
 */
export async function benchRender(): Promise<BenchRow[]> {
  const sky = createSky({ seed: 1, place: HUT_SEVEN, ...DEMO_NIGHT, scenario: "demo" });
  const render = (share: number, exposureSeconds: number, iso: number) =>
    renderFrame({
      sky,
      openedUtcMs: (DEMO_NIGHT.startUtcMs + share * DEMO_NIGHT.durationSeconds * 1000) as UtcMs,
      exposure: { exposureSeconds, iso, fNumber: 2.8 },
      widthPx: 1500,
      heightPx: 1000,
      lens: { focalLengthMm: 16 },
      sensor: FULL_FRAME_SENSOR,
      toneCurve: TONE_CURVES.mild,
      random: createRandom(String(share)),
      memory,
    }).rgb;
  const threads = sharp.concurrency();
  sharp.concurrency(1);
  const rows: BenchRow[] = [];
  try {
    // The first frames prepare the geometry and warm the code up.
    for (let round = 0; round < 3; round += 1) render(0.373, 4, 1600);
    for (const { name, share, exposureSeconds, iso } of MOMENTS) {
      const rgb = render(share, exposureSeconds, iso);
      const value = await medianMs(() => Promise.resolve(render(share, exposureSeconds, iso)));
      const raw = { width: 1500, height: 1000, channels: 3 } as const;
      const comparedValue = await medianMs(() =>
        sharp(rgb, { raw }).jpeg({ quality: 90 }).toBuffer(),
      );
      rows.push({
        group: "render",
        name: `1500 × 1000 preview, ${name}, ${exposureSeconds} s`,
        value,
        unit: "ms",
        comparedWith: "encoding the same picture as JPEG (sharp, one thread)",
        comparedValue,
        ratio: value / comparedValue,
        note: `median of ${ROUNDS}, one core`,
      });
    }
  } finally {
    sharp.concurrency(threads);
  }
  return rows;
}

async function medianMs(run: () => Promise<unknown>): Promise<number> {
  const times: number[] = [];
  for (let round = 0; round < ROUNDS; round += 1) {
    const start = performance.now();
    await run();
    times.push(performance.now() - start);
  }
  return medianOf(times);
}
