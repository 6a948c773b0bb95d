import "../plainFailure.ts";
import { readFile } from "node:fs/promises";
import { NightError } from "../../core/errors.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import { meterFrame, startMeter, type MeterState } from "../../core/photometry/meter.ts";
import { opticsOf } from "../../core/photometry/optics.ts";
import type { Reading } from "../../core/photometry/reading.ts";
import { lightOfCode, type ToneResponse } from "../../core/photometry/response.ts";
import { monotonicMs } from "../../core/units.ts";
import { runCommand, type OptionValues } from "../commandLine.ts";
import { callOf } from "../ownFiles.ts";
import { decodePixels, type DecodedPixels } from "../metering/decodePreview.ts";
import { frameKitOf } from "../frameKit.ts";
import { readImageExif, type ImageExif } from "../imageExif.ts";

const COMMAND = {
  call: callOf("meter"),
  purpose:
    "Says what the meter makes of image files. Several files are taken as successive frames of one camera, in the order given: horizon, tone curve and motion are learned from one to the next.",
  options: {
    "exposure-seconds": {
      type: "number",
      value: "S",
      above: 0,
      help: "instead of the file's Exif",
    },
    iso: { type: "number", value: "ISO", above: 0, help: "instead of the file's Exif" },
    "f-number": { type: "number", value: "N", above: 0, help: "instead of the file's Exif" },
    "focal-length-mm": {
      type: "number",
      value: "MM",
      above: 0,
      help: "instead of the file's Exif; for speeds in degrees",
    },
    "sensor-width-mm": {
      type: "number",
      value: "MM",
      above: 0,
      help: "for speeds in degrees; left out: by the file's Exif",
    },
    "interval-seconds": {
      type: "number",
      value: "S",
      above: 0,
      help: "from frame to frame, instead of the files' own times",
    },
    json: { type: "flag", help: "one JSON object a file" },
  },
  operands: {
    name: "FILE.jpg …",
    help: "image files, in the order they were taken",
    countMin: 1,
    countMax: 100_000,
  },
} as const;

type Options = OptionValues<typeof COMMAND.options>;

/** Exposure that stands in for an unknown one, so that stops can be measured and luminance cannot. */
const UNKNOWN_EXPOSURE: Exposure = { exposureSeconds: 1, iso: 100, fNumber: 1 };
const USUAL_FOCAL_LENGTH_MM = 16;

await runCommand(COMMAND, async (options, files) => {
  let state: MeterState | null = null;
  let openedMs = 0;
  for (const [index, file] of files.entries()) {
    const image = await readImage(file);
    const said = await readImageExif(image);
    const pixels = await decodeOf(image, file);
    state ??= startMeter(await lensOf(options, image, pixels));
    const exposure = exposureOf(options, said);
    openedMs = nextOpening(options, said, { index, openedMs });
    const result = meterFrame(state, {
      ...pixels,
      exposure: exposure ?? UNKNOWN_EXPOSURE,
      openedMs: monotonicMs(openedMs),
    });
    state = result.state;
    const words = options.json ? asJson(file, exposure, result) : asText(file, exposure, result);
    process.stdout.write(`${words}\n`);
  }
});

/** Lens and sensor by the options, else by the file; speeds are given in the file's own pixels. */
async function lensOf(options: Options, image: Uint8Array, pixels: DecodedPixels) {
  const { fileWidthPx: uprightWidthPx, fileHeightPx: uprightHeightPx } = pixels;
  const facts = await frameKitOf(image);
  const focalLengthMm = options["focal-length-mm"] ?? facts.focalLengthMm ?? USUAL_FOCAL_LENGTH_MM;
  const given = { focalLengthMm, sensorWidthMm: options["sensor-width-mm"], pixelPitchUm: null };
  const picture = { ...facts, uprightWidthPx, uprightHeightPx };
  const { acrossMm, remarks } = opticsOf(given, picture, Math.max(uprightWidthPx, uprightHeightPx));
  return {
    focalLengthMm,
    pixelPitchUm: (acrossMm * 1000) / uprightWidthPx,
    fullWidthPx: uprightWidthPx,
    remarks,
  };
}

async function readImage(file: string): Promise<Uint8Array> {
  try {
    return await readFile(file);
  } catch (thrown) {
    const code = (thrown as NodeJS.ErrnoException).code;
    const why = code === "ENOENT" ? "there is no such file" : `it cannot be opened (${code})`;
    throw new NightError("image.unreadable", `${file}: ${why}`, {}, { cause: thrown });
  }
}

async function decodeOf(image: Uint8Array, file: string) {
  try {
    return await decodePixels(image);
  } catch (thrown) {
    const why = thrown instanceof NightError ? thrown.message : String(thrown);
    throw new NightError("image.unreadable", `${file}: ${why}`, {}, { cause: thrown });
  }
}

function exposureOf(options: Options, said: ImageExif): Exposure | null {
  const exposureSeconds = options["exposure-seconds"] ?? said.exposureSeconds;
  const iso = options.iso ?? said.iso;
  const fNumber = options["f-number"] ?? said.fNumber;
  if (exposureSeconds === null || iso === null || fNumber === null) return null;
  return { exposureSeconds, iso, fNumber };
}

/** Opening of the shutter: by the interval, by the file's own time, or right after the last one. */
function nextOpening(
  options: Options,
  said: ImageExif,
  { index, openedMs }: { readonly index: number; readonly openedMs: number },
): number {
  const intervalSeconds = options["interval-seconds"];
  if (intervalSeconds !== null) return index * intervalSeconds * 1000;
  if (said.takenMs !== null) return said.takenMs;
  return index === 0 ? 0 : openedMs + 1000 * ((said.exposureSeconds ?? 1) + 1);
}

type Metered = { readonly reading: Reading; readonly state: MeterState };

function asJson(file: string, exposure: Exposure | null, { reading, state }: Metered): string {
  const { isSure, pairCount } = state.response;
  return JSON.stringify({
    file,
    exposure,
    ...reading,
    skyLuminanceCdM2: exposure === null ? null : reading.skyLuminanceCdM2,
    toneCurve: { isSure, pairCount, stopsOfCode: stopsOfCode(state.response) },
  });
}

/** The tone curve as known by now: stops from mid-grey of some codes. */
function stopsOfCode(response: ToneResponse): Record<string, number> {
  const codes = Array.from({ length: 15 }, (_, step) => 16 * (step + 1));
  return Object.fromEntries(codes.map((code) => [code, Math.log2(lightOfCode(response, code))]));
}

function asText(file: string, exposure: Exposure | null, { reading }: Metered): string {
  const { clippedShare: clipped, motion } = reading;
  const share = (value: number): string => `${(value * 100).toFixed(2)} %`;
  const lines = [
    file,
    `  sky            ${signed(reading.skyStops)} stops from mid-grey, ± ${reading.uncertaintyStops.toFixed(2)}`,
    exposure === null
      ? "  luminance      not known: the file does not say how it was exposed (give --exposure-seconds, --iso, --f-number)"
      : `  luminance      ${reading.skyLuminanceCdM2.toExponential(2)} cd/m² by ${exposure.exposureSeconds} s, f/${exposure.fNumber}, ISO ${exposure.iso}`,
    `  brightest      ${reading.peakRatio.toFixed(2)} × the mean (99.5th percentile)`,
    `  clipped        red ${share(clipped.red)}, green ${share(clipped.green)}, blue ${share(clipped.blue)}`,
    `  sky in frame   ${share(reading.skyShare)}`,
    `  curtains       ${motion.kind === "unknown" ? `speed unknown: ${motion.why}` : `${motion.degPerSecond.toFixed(3)} °/s, ${motion.pxPerSecond.toFixed(1)} px/s`}`,
    `  stars          ${reading.starCount}${reading.starWidthPx === null ? "" : `, ${reading.starWidthPx.toFixed(2)} px wide`}`,
  ];
  if (reading.remarks.length > 0) lines.push(`  remarks        ${reading.remarks.join("; ")}`);
  return lines.join("\n");
}

function signed(value: number): string {
  return `${value < 0 ? "−" : "+"}${Math.abs(value).toFixed(2)}`;
}
