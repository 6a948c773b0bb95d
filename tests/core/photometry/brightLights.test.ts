import { describe, expect, test } from "vitest";
import { allocate, secondsIsoFor } from "../../../core/exposure/allocation.ts";
import { DEFAULT_EXPOSURE_SETTINGS } from "../../../core/exposure/settings.ts";
import { meterFrame, startMeter } from "../../../core/photometry/meter.ts";
import { createRandom } from "../../../core/random.ts";
import { FULL_FRAME_SENSOR, renderFrame, TONE_CURVES } from "../../../core/simulation/render.ts";
import { createRenderMemory } from "../../../core/simulation/renderMemory.ts";
import { createSky, DEMO_NIGHT, HUT_SEVEN } from "../../../core/simulation/sky.ts";
import { monotonicMs, utcMs } from "../../../core/units.ts";

/** One for all the frames rendered here: what it keeps takes longer to work out than a frame. */
const memory = createRenderMemory();

const SIZE = { widthPx: 360, heightPx: 240 };

/** What the meter remarks on frames of the demo's night, hour by hour, looking one way. */
function remarksByHour(azimuthDeg: number, hours: readonly number[]): Map<number, string> {
  const sky = createSky({
    ...DEMO_NIGHT,
    seed: 7,
    place: { ...HUT_SEVEN, azimuthDeg },
    scenario: "demo",
  });
  let meter = startMeter({ focalLengthMm: 16, pixelPitchUm: 6, fullWidthPx: 6000 });
  const remarks = new Map<number, string>();
  let level = 1;
  for (const hour of hours) {
    // The first frame of an hour finds the brightness, the second is exposed for it.
    for (const seconds of [0, 20]) {
      const { exposureSeconds, iso } = allocate(
        secondsIsoFor(level, DEFAULT_EXPOSURE_SETTINGS.targetStops, DEFAULT_EXPOSURE_SETTINGS),
        { curtainSeconds: Infinity, heldIso: null },
        DEFAULT_EXPOSURE_SETTINGS,
      );
      const exposure = { exposureSeconds, iso, fNumber: DEFAULT_EXPOSURE_SETTINGS.fNumber };
      const openedMs = (hour * 3600 + seconds) * 1000;
      const { rgb } = renderFrame({
        ...{ sky, exposure, ...SIZE },
        openedUtcMs: utcMs(DEMO_NIGHT.startUtcMs + openedMs),
        lens: { focalLengthMm: 16 },
        sensor: FULL_FRAME_SENSOR,
        toneCurve: TONE_CURVES.mild,
        random: createRandom(`${hour} ${seconds}`),
        memory,
      });
      const { reading, state } = meterFrame(meter, {
        ...{ ...SIZE, rgb, exposure },
        openedMs: monotonicMs(openedMs),
      });
      meter = state;
      level = Math.log2(reading.skyLuminanceCdM2);
      remarks.set(hour, reading.remarks.join("; "));
    }
  }
  return remarks;
}

describe("lights in the demo's night", () => {
  const north = remarksByHour(
    HUT_SEVEN.azimuthDeg,
    [0.2, 0.3, 0.4, 0.5, 2, 3, 4, 5, 6, 7, 8, 9, 10],
  );

  test("no star, curtain or dusk is taken for the Moon, which stands elsewhere all night", () => {
    for (const remark of north.values()) expect(remark).not.toMatch(/moon/);
  });

  test("dusk between the trees is no lamp before the hut's window is lit", () => {
    for (const hour of [0.4, 0.5]) expect(north.get(hour)).not.toMatch(/lamp/);
  });

  test("the hut's lit window is recognised as a lamp through most of the night", () => {
    const lit = [3, 4, 5, 6, 7, 8].filter((hour) => north.get(hour)!.includes("lamp in frame"));
    expect(lit.length).toBeGreaterThanOrEqual(4);
  });

  test("the Moon is recognised when it stands in the east, an aurora beside it", () => {
    const east = remarksByHour(80, [3, 3.5, 6.5, 7, 7.5, 8, 9]);
    expect(east.get(3)).not.toMatch(/moon/);
    for (const hour of [7, 7.5, 8, 9]) expect(east.get(hour)).toMatch(/moon in frame/);
  });
});
