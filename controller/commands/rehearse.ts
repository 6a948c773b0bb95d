import { rangeAndDefaultOf, rangeOf } from "../../core/exposure/settingLimits.ts";
import { readFileSync, writeFileSync } from "node:fs";
import { NightError } from "../../core/errors.ts";
import { DEFAULT_EXPOSURE_SETTINGS, type ExposureSettings } from "../../core/exposure/settings.ts";
import {
  DEFAULT_REHEARSAL_TIMING,
  rehearse,
  testFrameExposure,
} from "../../core/rehearsal/rehearsal.ts";
import { parseSkyCsv } from "../../core/rehearsal/skyCsv.ts";
import { scoreOf, type RehearsalFrame } from "../../core/rehearsal/score.ts";
import type { RehearsalSky } from "../../core/rehearsal/givenSky.ts";
import { runCommand, type CommandDeclaration, type OptionValues } from "../commandLine.ts";
import { callOf } from "../ownFiles.ts";

const defaults = DEFAULT_EXPOSURE_SETTINGS;
/** Of a full frame 6000 pixels wide. */
const FULL_FRAME_PITCH_UM = 6;

const OPTIONS = {
  sky: {
    type: "text",
    value: "FILE.csv",
    required: true,
    help: "the sky: seconds,luminanceCdM2 and, if known, peakRatio,driftDegPerSecond; linear between rows",
  },
  out: { type: "text", value: "FILE.jsonl", help: "writes one JSON object a frame there" },
  seed: {
    type: "number",
    value: "N",
    default: 1,
    integer: true,
    help: "of the meter's noise: same seed, same night",
  },
  "target-stops": {
    type: "number",
    value: "STOPS",
    help: "wanted brightness from mid-grey",
    ...rangeAndDefaultOf("targetStops"),
  },
  "f-number": { type: "number", value: "N", help: "aperture", ...rangeAndDefaultOf("fNumber") },
  "iso-min": {
    type: "number",
    value: "ISO",
    help: "lowest ISO",
    ...rangeAndDefaultOf("isoMin"),
  },
  "iso-max": { type: "number", value: "ISO", help: "ISO cap", ...rangeAndDefaultOf("isoMax") },
  "min-exposure-seconds": {
    type: "number",
    value: "S",
    help: "shortest exposure",
    ...rangeAndDefaultOf("exposureSecondsMin"),
  },
  "max-exposure-seconds": {
    type: "number",
    value: "S",
    help: "longest exposure, the star trail's limit",
    ...rangeAndDefaultOf("exposureSecondsMax"),
  },
  "interval-seconds": {
    type: "number",
    value: "S",
    help: "start to start; 0 is back to back",
    ...rangeAndDefaultOf("intervalSeconds"),
  },
  "first-exposure-seconds": {
    type: "number",
    value: "S",
    help: "exposure of the first frame; left out, a metered test frame of the sky's first row sets it",
    ...rangeOf("exposureSecondsMax"),
  },
  "first-iso": {
    type: "number",
    value: "ISO",
    help: "ISO of the first frame; left out, set the same way",
    ...rangeOf("isoMax"),
  },
  "focal-length-mm": {
    type: "number",
    value: "MM",
    help: "of the lens, for the curtains' smear",
    ...rangeAndDefaultOf("focalLengthMm"),
  },
  "pixel-pitch-um": {
    type: "number",
    value: "UM",
    help: "of the sensor, for the curtains' smear",
    ...rangeOf("pixelPitchUm"),
    default: FULL_FRAME_PITCH_UM,
  },
  "blur-px": {
    type: "number",
    value: "PX",
    help: "tolerated smear of moving curtains",
    ...rangeAndDefaultOf("blurPx"),
  },
  "meter-noise": {
    type: "number",
    value: "STOPS",
    default: DEFAULT_REHEARSAL_TIMING.meterNoiseStops,
    min: 0,
    max: 5,
    help: "root mean square of the meter's error",
  },
  "busy-seconds": {
    type: "number",
    value: "S",
    default: DEFAULT_REHEARSAL_TIMING.busySeconds,
    help: "how long the camera is busy after the shutter has closed",
    ...rangeOf("busySeconds"),
  },
  "reading-delay-seconds": {
    type: "number",
    value: "S",
    default: DEFAULT_REHEARSAL_TIMING.readingDelaySeconds,
    min: 0,
    help: "how long after the shutter has closed the reading is there",
  },
  "light-meter-hz": {
    type: "number",
    value: "HZ",
    default: 0,
    min: 0,
    max: 1000,
    help: "samples a second of a sky light meter that may close the shutter; 0 is none",
  },
} as const;

const REHEARSE: CommandDeclaration<typeof OPTIONS> = {
  call: callOf("rehearse"),
  purpose:
    "Runs a night's own watch and governor against a given sky, as fast as the processor allows. " +
    "Standard output ends with one JSON object; its errors are over the frames whose target some " +
    "exposure within the limits could have met without clipping, and clippedFrames counts those " +
    "whose brightest parts (peakRatio times the mean) went over the ceiling.",
  options: OPTIONS,
};

function run(options: OptionValues<typeof OPTIONS>): void {
  const beganMs = performance.now();
  const settings = settingsOf(options);
  const sky = readSkyFile(options.sky);
  for (const remark of sky.remarks) process.stderr.write(`note: ${remark}\n`);
  const timing = {
    busySeconds: options["busy-seconds"],
    readingDelaySeconds: options["reading-delay-seconds"],
    meterNoiseStops: options["meter-noise"],
  };
  const test = testFrameExposure(sky, { settings, timing, seed: options.seed });
  const first = {
    ...test,
    exposureSeconds: options["first-exposure-seconds"] ?? test.exposureSeconds,
    iso: options["first-iso"] ?? test.iso,
  };
  const hz = options["light-meter-hz"];
  const lightMeter = hz > 0 ? { hz } : null;
  const frames = rehearse(sky, { settings, timing, seed: options.seed, first, lightMeter });
  if (options.out !== null) writeFrames(options.out, frames);
  const wallSeconds = (performance.now() - beganMs) / 1000;
  process.stdout.write(`${JSON.stringify({ ...scoreOf(frames, settings), wallSeconds })}\n`);
}

function settingsOf(options: OptionValues<typeof OPTIONS>): ExposureSettings {
  ordered(options, "iso-min", "iso-max");
  ordered(options, "min-exposure-seconds", "max-exposure-seconds");
  return {
    ...defaults,
    targetStops: options["target-stops"],
    fNumber: options["f-number"],
    isoMin: options["iso-min"],
    isoMax: options["iso-max"],
    exposureSecondsMin: options["min-exposure-seconds"],
    exposureSecondsMax: options["max-exposure-seconds"],
    intervalSeconds: options["interval-seconds"],
    busySeconds: options["busy-seconds"],
    focalLengthMm: options["focal-length-mm"],
    pixelPitchUm: options["pixel-pitch-um"],
    blurPx: options["blur-px"],
  };
}

type Bound = "iso-min" | "iso-max" | "min-exposure-seconds" | "max-exposure-seconds";

function ordered(options: OptionValues<typeof OPTIONS>, low: Bound, high: Bound): void {
  if (options[low] <= options[high]) return;
  throw new NightError(
    "usage.invalid",
    `--${low} (${options[low]}) must not lie above --${high} (${options[high]})`,
  );
}

function readSkyFile(path: string): RehearsalSky {
  let text: string;
  try {
    text = readFileSync(path, "utf8");
  } catch (cause) {
    const { code } = cause as NodeJS.ErrnoException;
    throw new NightError(
      "sky.file_invalid",
      code === "ENOENT"
        ? `there is no sky file ${path}`
        : `the sky file ${path} cannot be read (${code ?? "unknown trouble"})`,
      { path },
      { cause },
    );
  }
  return parseSkyCsv(text);
}

function writeFrames(path: string, frames: readonly RehearsalFrame[]): void {
  const lines = frames.map((frame) =>
    JSON.stringify({
      index: frame.index,
      startSeconds: frame.startSeconds,
      exposureSeconds: frame.exposure.exposureSeconds,
      iso: frame.exposure.iso,
      fNumber: frame.exposure.fNumber,
      meteredStops: frame.meteredStops,
      errorStops: frame.errorStops,
      isReachable: frame.isReachable,
      isClipped: frame.isClipped,
      reasons: frame.reasons,
    }),
  );
  try {
    writeFileSync(path, lines.map((line) => `${line}\n`).join(""));
  } catch (cause) {
    const { code } = cause as NodeJS.ErrnoException;
    const sentence = `the frames cannot be written to ${path} (${code ?? "unknown trouble"})`;
    throw new NightError("usage.invalid", sentence, { path }, { cause });
  }
}

await runCommand(REHEARSE, run);
