import sharp from "sharp";
import { expect, test } from "vitest";
import { askStars } from "../../../controller/pointing/askStars.ts";
import { createSky, DEMO_NIGHT, HUT_SEVEN } from "../../../core/simulation/sky.ts";
import { separationDeg } from "../../../core/sky/angles.ts";
import { placeOf } from "../../../core/sky/place.ts";
import { utcMs } from "../../../core/units.ts";
import { makeFramePicture } from "../../support/renderedFrame.ts";

const [WIDTH, HEIGHT] = [1536, 1024];

async function jpegOf(rgb: Uint8Array): Promise<Uint8Array> {
  const raw = { width: WIDTH, height: HEIGHT, channels: 3 as const };
  return await sharp(rgb, { raw }).jpeg({ quality: 90 }).toBuffer();
}

const job = {
  place: placeOf(HUT_SEVEN),
  optics: { focalLengthMm: 16, sensorWidthMm: 36, pixelPitchUm: 6 },
};
const openedUtcMs = utcMs(DEMO_NIGHT.startUtcMs + 4 * 3_600_000);

/** A thread of its own reads the sources again, which takes its time on a busy machine. */
const PATIENT = { timeout: 180_000 };

test(
  "a test frame of the demo's night tells where the camera points, in a thread of its own",
  PATIENT,
  async () => {
    const sky = createSky({ ...DEMO_NIGHT, seed: "demo", place: HUT_SEVEN, scenario: "demo" });
    const { rgb } = makeFramePicture({
      ...{ sky, openedUtcMs, widthPx: WIDTH, heightPx: HEIGHT },
      exposure: { exposureSeconds: 4, iso: 6400, fNumber: 2.8 },
      lens: { focalLengthMm: 16 },
    });
    const jpeg = await jpegOf(rgb);
    const stars = await askStars({
      ...job,
      jpeg,
      utcMs: utcMs(openedUtcMs + 2000),
    });
    expect(stars.kind).toBe("solved");
    if (stars.kind !== "solved") return;
    const truth = { bearingDeg: HUT_SEVEN.azimuthDeg, elevationDeg: HUT_SEVEN.altitudeDeg };
    expect(separationDeg(stars.centre, truth)).toBeLessThan(0.02);
    expect(stars.focalLengthMm).toBeCloseTo(16, 1);
    expect(stars.sentences[0]).toMatch(/^You point at 345° and 27° high; the oval /);
  },
);

test("a frame without stars says so, and a file that is none as well", PATIENT, async () => {
  const jpeg = await jpegOf(new Uint8Array(WIDTH * HEIGHT * 3).fill(40));
  const order = { ...job, utcMs: openedUtcMs };
  expect(await askStars({ ...order, jpeg })).toEqual({
    kind: "unknown",
    sentence: "Too few stars show to say where you point.",
  });
  const broken = await askStars({ ...order, jpeg: new Uint8Array([1, 2, 3]) });
  expect(broken.kind).toBe("unknown");
});
