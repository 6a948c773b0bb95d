import { pathToFileURL } from "node:url";
import sharp, { type Sharp } from "sharp";
import { decodePixels } from "../../controller/metering/decodePreview.ts";
import { meterFrame, startMeter } from "../../core/photometry/meter.ts";
import { createRandom } from "../../core/random.ts";
import { monotonicMs } from "../../core/units.ts";
import { paintedSky, paintFrame, sRgbCurve } from "../support/paintedSky.ts";
import type { BenchRow } from "./benchRow.ts";
import { tableOf } from "./table.ts";
import { medianOf } from "../../core/statistics.ts";

type MeteredFile = { readonly jpeg: Uint8Array; readonly exposureSeconds: number };

/**
 * Metering a file (decoding it and everything that the reading takes) beside sharp decoding it to
 * the size that is metered. Both take turns on the same files, so that a busy machine slows both.
 */
export async function benchMeter(): Promise<BenchRow[]> {
  return [
    await benchSize("160 × 120 thumbnail", await filesOf(160, 120, 160), 1600),
    await benchSize("1500 × 1000 preview", await filesOf(750, 500, 1500), 40),
    await benchSize("24-megapixel JPEG", await filesOf(750, 500, 6000), 16),
  ];
}

/** Frames of one moving sky at changing exposures, so that nothing in the meter idles. */
async function filesOf(widthPx: number, heightPx: number, fileWidthPx: number) {
  const random = createRandom("bench");
  const sky = paintedSky(random, {
    widthPx,
    heightPx,
    degPerPx: 129 / widthPx,
    groundShare: 0.15,
    stars: Array.from({ length: 200 }, () => ({
      x: widthPx * random.uniform(),
      y: heightPx * random.uniform(),
      light: 2 * random.uniform(),
    })),
  });
  const files: MeteredFile[] = [];
  for (let index = 0; index < 4; index += 1) {
    const exposureStops = [0, 0.4, -0.3, 0.2][index]!;
    const exposureSeconds = 5 * 2 ** exposureStops;
    const { rgb } = paintFrame({
      sky,
      startSeconds: index * 8,
      exposure: { exposureSeconds: 5, iso: 1600, fNumber: 2.8 },
      exposureStops,
      curve: sRgbCurve,
      random,
    });
    const raw = { width: widthPx, height: heightPx, channels: 3 as const };
    const image = sharp(rgb, { raw }).resize(fileWidthPx);
    const grainy = fileWidthPx > 3000 ? await withGrain(image, fileWidthPx) : image;
    files.push({ jpeg: await grainy.jpeg({ quality: 92 }).toBuffer(), exposureSeconds });
  }
  return files;
}

/** A large file is as hard to decode as a camera's own only with grain in it. */
async function withGrain(image: Sharp, widthPx: number): Promise<Sharp> {
  const { data, info } = await image.raw().toBuffer({ resolveWithObject: true });
  const random = createRandom("grain");
  const grain = Int8Array.from({ length: 65_521 }, () => Math.round(4 * random.normal()));
  for (let at = 0; at < data.length; at += 1) {
    data[at] = Math.min(255, Math.max(0, data[at]! + grain[at % grain.length]!));
  }
  return sharp(data, { raw: { width: widthPx, height: info.height, channels: 3 } });
}

async function benchSize(
  name: string,
  files: readonly MeteredFile[],
  rounds: number,
): Promise<BenchRow> {
  let state = startMeter({ focalLengthMm: 16, pixelPitchUm: 6, fullWidthPx: 6000 });
  const decoded = await decodePixels(files[0]!.jpeg);
  const meteredMs: number[] = [];
  const decodedMs: number[] = [];
  const warmUp = Math.ceil(rounds / 4);
  for (let round = -warmUp; round < rounds; round += 1) {
    const { jpeg, exposureSeconds } = files[(round + warmUp) % files.length]!;
    const startMs = performance.now();
    const pixels = await decodePixels(jpeg);
    const exposure = { exposureSeconds, iso: 1600, fNumber: 2.8 };
    const openedMs = monotonicMs((round + warmUp) * 8000);
    ({ state } = meterFrame(state, { ...pixels, exposure, openedMs }));
    const middleMs = performance.now();
    const image = sharp(jpeg);
    if (pixels.fileWidthPx !== pixels.widthPx) image.resize(pixels.widthPx);
    await image.raw().toBuffer();
    if (round < 0) continue;
    meteredMs.push(middleMs - startMs);
    decodedMs.push(performance.now() - middleMs);
  }
  const [value, comparedValue] = [medianOf(meteredMs), medianOf(decodedMs)];
  return {
    group: "meter",
    name: `metering a ${name}`,
    value,
    unit: "ms",
    comparedWith: `sharp decoding it to ${decoded.widthPx} × ${decoded.heightPx}`,
    comparedValue,
    ratio: value / comparedValue,
    note: "medians, taking turns; aim 1.25 for thumbnail and 24 megapixels",
  };
}

if (import.meta.url === pathToFileURL(process.argv[1] ?? "").href) {
  process.stdout.write(tableOf(await benchMeter()));
}
