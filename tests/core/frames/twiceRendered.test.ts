import { beforeAll, describe, expect, it } from "vitest";
import { applyGainPlain } from "../../../controller/deliver/applyGain.ts";
import { DEMO_FACING, DEMO_NIGHT } from "../../../controller/daemon/demoNight.ts";
import { stopsFromMidGrey, type Exposure } from "../../../core/exposure/exposure.ts";
import { deflicker } from "../../../core/frames/deflicker.ts";
import { frameGain } from "../../../core/frames/frameGain.ts";
import { measurePixels } from "../../../core/frames/frameMeasure.ts";
import { knownResponse } from "../../../core/photometry/knownResponse.ts";
import { decodeSrgb } from "../../../core/photometry/srgb.ts";
import { createRandom } from "../../../core/random.ts";
import { FULL_FRAME_SENSOR, renderFrame, TONE_CURVES } from "../../../core/simulation/render.ts";
import { createRenderMemory } from "../../../core/simulation/renderMemory.ts";
import { createSky, DEMO_NIGHT as SKY_NIGHT } from "../../../core/simulation/sky.ts";
import { toneCode } from "../../../core/simulation/toneCurve.ts";
import { quantileOf } from "../../../core/statistics.ts";
import { utcMs } from "../../../core/units.ts";
import { ciede2000, labOfCodes } from "../../support/ciede2000.ts";
import { hueDeg } from "../../support/hueDeg.ts";
import { meteredLuminanceCdM2 } from "../../support/meteredSky.ts";

/** The demo night's first breakup: half an hour, a frame a minute. */
const FROM_HOURS = 4;
const FRAME_COUNT = 30;
const SECONDS_BETWEEN = 60;
const WIDTH_PX = 180;
const HEIGHT_PX = 120;
const CURVE = TONE_CURVES.contrasty;
const RESPONSE = knownResponse(
  Array.from({ length: 23 }, (_, step) => {
    const lightStops = step / 2 - 11;
    return { lightStops, code: toneCode(CURVE, 2 ** lightStops) };
  }),
);

type Pixel = readonly [number, number, number];

/** A frame as it was taken, as it is delivered, and as it would have been taken with that exposure. */
type Compared = {
  readonly gainStops: number;
  readonly taken: Uint8Array;
  readonly delivered: Uint8Array;
  readonly wanted: Uint8Array;
};

/** Without noise, so that only the gain is compared. @param heldStops  The mean sky of each frame, from mid-grey. */
function renderTwice(heldStops: (frame: number) => number): Compared[] {
  const memory = createRenderMemory();
  memory.grain.fill(0);
  const sky = createSky({
    seed: "7",
    place: { ...DEMO_NIGHT, ...DEMO_FACING },
    startUtcMs: DEMO_NIGHT.startUtcMs,
    durationSeconds: SKY_NIGHT.durationSeconds,
    scenario: "demo",
  });
  const openedUtcMsOf = (n: number) =>
    utcMs(DEMO_NIGHT.startUtcMs + (FROM_HOURS * 3600 + n * SECONDS_BETWEEN) * 1000);
  const take = (n: number, exposure: Exposure): Uint8Array =>
    renderFrame({
      ...{ sky, openedUtcMs: openedUtcMsOf(n), exposure, memory, toneCurve: CURVE },
      ...{ widthPx: WIDTH_PX, heightPx: HEIGHT_PX, lens: { focalLengthMm: 16 } },
      sensor: { ...FULL_FRAME_SENSOR, hotPixelCount: 0 },
      random: createRandom("no grain"),
    }).rgb;
  const frames = Array.from({ length: FRAME_COUNT }, (_, n) => {
    const exposure = { exposureSeconds: 2, iso: 1600, fNumber: 2.8 };
    const stops = stopsFromMidGrey(meteredLuminanceCdM2(sky, openedUtcMsOf(n)), exposure);
    const held = { ...exposure, iso: 1600 * 2 ** (heldStops(n) - stops) };
    const rgb = take(n, held);
    const measure = measurePixels(rgb, WIDTH_PX, HEIGHT_PX, RESPONSE);
    return { n, held, rgb, measure };
  });
  const corrections = deflicker(
    frames.map(({ n, held, measure }) => ({
      atSeconds: n * SECONDS_BETWEEN,
      exposure: held,
      cellStops: measure.cellStops.map((stops) => stops ?? NaN),
      highlightRoomStops: measure.highlightRoomStops,
    })),
  );
  return frames
    .filter(({ n }) => n % 3 === 0)
    .map(({ n, held, rgb }) => {
      const gainStops = corrections[n]!.followStops;
      return {
        gainStops,
        taken: rgb,
        delivered: applyGainPlain(rgb, frameGain(gainStops, RESPONSE)),
        wanted: take(n, { ...held, iso: held.iso * 2 ** gainStops }),
      };
    });
}

const pixelOf = (rgb: Uint8Array, at: number): Pixel => [rgb[at]!, rgb[at + 1]!, rgb[at + 2]!];

/** Starts of the pixels that the taken frame holds whole. */
function wholePixels({ taken }: Compared): number[] {
  const starts: number[] = [];
  for (let at = 0; at < taken.length; at += 3) {
    if (Math.max(...pixelOf(taken, at)) < 252) starts.push(at);
  }
  return starts;
}

const lightnessOf = (rgb: Uint8Array, at: number): number => labOfCodes(...pixelOf(rgb, at))[0];

/** Mid-grey, and a stop and a half less for the ten minutes in which the curtains are brightest. */
const brightButForTheBreakup = (frame: number): number => (frame >= 15 && frame < 25 ? -1.5 : 0);

describe.each([
  { taken: "a stop under mid-grey", heldStops: () => -1 },
  { taken: "brighter, with its height held down", heldStops: brightButForTheBreakup },
])(
  "delivered frames of a breakup taken $taken, against the same sky rendered at the film's own exposure",
  ({ heldStops }) => {
    let frames: Compared[] = [];

    beforeAll(() => {
      frames = renderTwice(heldStops);
    }, 120_000);

    it("are lifted by more than half a stop, or they would prove nothing", () => {
      expect(Math.max(...frames.map(({ gainStops }) => gainStops))).toBeGreaterThan(0.5);
    });

    it("differ by CIEDE2000 of at most 1 in the median and 5 at the 99th percentile", () => {
      for (const frame of frames) {
        const differences = wholePixels(frame).map((at) =>
          ciede2000(
            labOfCodes(...pixelOf(frame.delivered, at)),
            labOfCodes(...pixelOf(frame.wanted, at)),
          ),
        );
        const said = `gain ${frame.gainStops.toFixed(2)}`;
        expect.soft(quantileOf(differences, 0.5), said).toBeLessThanOrEqual(1);
        expect.soft(quantileOf(differences, 0.99), said).toBeLessThanOrEqual(5);
      }
    });

    it("have no edge that is steeper than the rendered frame's by 30 %", () => {
      for (const frame of frames) {
        const whole = new Set(wholePixels(frame));
        for (const at of whole) {
          const next = at + 3;
          if (next % (3 * WIDTH_PX) === 0 || !whole.has(next)) continue;
          const step = (rgb: Uint8Array): number =>
            Math.abs(lightnessOf(rgb, next) - lightnessOf(rgb, at));
          // Two codes of L* are lost to whole codes before and after.
          expect(step(frame.delivered)).toBeLessThan(1.3 * step(frame.wanted) + 2.5);
        }
      }
    });

    it("keep the hue of bright greens and pinks to 2°", () => {
      const light = (rgb: Uint8Array, at: number): number[] =>
        pixelOf(rgb, at).map((code) => decodeSrgb(code / 255));
      for (const frame of frames) {
        const turns = wholePixels(frame).flatMap((at) => {
          const [before, after] = [light(frame.wanted, at), light(frame.delivered, at)];
          const [most, least] = [Math.max(...before), Math.min(...before)];
          if (most < 0.3 || most > 0.9 || least > 0.6 * most) return [];
          const turn = Math.abs(hueDeg(after) - hueDeg(before));
          return [Math.min(turn, 360 - turn)];
        });
        if (turns.length > 0) expect(Math.max(...turns)).toBeLessThan(2);
      }
    });
  },
);
