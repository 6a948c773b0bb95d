import { spawnSync } from "node:child_process";
import { mkdtempSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { applyGain8 } from "../../controller/deliver/applyGain.ts";
import { encoderArguments, findVideoEncoder } from "../../controller/deliver/videoEncoder.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import { DEFAULT_DEFLICKER, deflicker, type DeflickerFrame } from "../../core/frames/deflicker.ts";
import { measurePixels } from "../../core/frames/frameMeasure.ts";
import { frameGain } from "../../core/frames/frameGain.ts";
import { smoothExposure } from "../../core/frames/smoothExposure.ts";
import { createRandom } from "../../core/random.ts";
import { FULL_FRAME_SENSOR, TONE_CURVES, renderFrame } from "../../core/simulation/render.ts";
import { createRenderMemory } from "../../core/simulation/renderMemory.ts";
import { DEMO_NIGHT, HUT_SEVEN, createSky } from "../../core/simulation/sky.ts";
import { utcMs } from "../../core/units.ts";
import { deliverInTest } from "../support/deliverInTest.ts";
import { frameToFrameRms } from "../support/flickerNight.ts";
import { renderNight } from "../support/renderedNight.ts";
import type { BenchRow } from "./benchRow.ts";

/** One for all the frames rendered here: what it keeps takes longer to work out than a frame. */
const memory = createRenderMemory();

/** Deflicker against known truth beside a plain rolling mean; delivering beside the encoder alone. */
export async function benchDeliver(): Promise<BenchRow[]> {
  return [...deflickerRows(), ...(await throughputRows())];
}

/** The table of deflickering alone. */
export function deflickerRows(): BenchRow[] {
  return [...quietRows(), ...surgeRows()];
}

const WIDTH = 240;
const HEIGHT = 160;
const SECONDS_BETWEEN = 10;
/** What shutter and aperture scatter from frame to frame, stops, one standard deviation. */
const SCATTER_STOPS = 0.05;
/** Half of the window of the plain rolling mean, frames. */
const ROLLING_HALF = 7;

/** A rendered run of frames, and the film that a faultless camera would have made of the same sky. */
type Run = {
  readonly recordedStops: readonly number[];
  readonly deliveredStops: readonly number[];
  readonly rollingStops: readonly number[];
  readonly truthStops: readonly number[];
  /** The exposure that the film follows. */
  readonly smoothStops: readonly number[];
};

type RunOptions = {
  readonly count: number;
  /** How much brighter the whole sky is than the rendered one, stops. */
  readonly rise: (seconds: number) => number;
  readonly exposure: (seconds: number, frame: number) => Exposure;
  /** When a frame is taken; left out: one every ten seconds. */
  readonly secondsOf?: (frame: number) => number;
};

/**
 * Renders each moment of a quiet simulated sky twice: as taken, with scatter and steps, and as the
 * film's own smooth exposure would have it, without any. The camera's tone curve is not given.
 */
function run(options: RunOptions): Run {
  const { count, rise, exposure, secondsOf = (n: number) => n * SECONDS_BETWEEN } = options;
  const sky = createSky({ seed: 4, place: HUT_SEVEN, ...DEMO_NIGHT, scenario: "quiet" });
  const random = createRandom("scatter");
  const seconds = Array.from({ length: count }, (_, n) => secondsOf(n));
  const taken = seconds.map((at, n) => exposure(at, n));
  const stops = taken.map((one) => Math.log2((one.exposureSeconds * one.iso) / one.fNumber ** 2));
  const smooth = smoothExposure(stops, seconds, DEFAULT_DEFLICKER);
  const render = (n: number, moreStops: number): Uint8Array =>
    renderFrame({
      sky,
      openedUtcMs: utcMs(DEMO_NIGHT.startUtcMs + 6 * 3_600_000 + seconds[n]! * 1000),
      // More light and more exposure look alike; the time stays, so that stars trail alike.
      exposure: { ...taken[n]!, iso: taken[n]!.iso * 2 ** moreStops },
      ...{ widthPx: WIDTH, heightPx: HEIGHT, lens: { focalLengthMm: 16 } },
      ...{ sensor: FULL_FRAME_SENSOR, toneCurve: TONE_CURVES.mild },
      random: createRandom(`frame ${n}`),
      memory,
    }).rgb;
  const pictures = seconds.map((at, n) => render(n, rise(at) + SCATTER_STOPS * random.normal()));
  const measures = pictures.map((rgb) => measurePixels(rgb, WIDTH, HEIGHT, null));
  const frames = measures.map((measure, n): DeflickerFrame => ({
    atSeconds: seconds[n]!,
    exposure: taken[n]!,
    cellStops: measure.cellStops.map((one) => one ?? NaN),
    highlightRoomStops: measure.highlightRoomStops,
  }));
  const corrections = deflicker(frames).map((one) => one.totalStops);
  const recordedStops = measures.map((measure) => measure.meanStops);
  const rolling = rollingMean(recordedStops).map((mean, n) => mean - recordedStops[n]!);
  const deliver = (gains: readonly number[]): number[] =>
    pictures.map((rgb, n) => {
      const codes = applyGain8(rgb, frameGain(gains[n]!, null), n);
      return measurePixels(codes, WIDTH, HEIGHT, null).meanStops;
    });
  const truthStops = seconds.map((at, n) => {
    const rgb = render(n, rise(at) + smooth[n]! - stops[n]!);
    return measurePixels(rgb, WIDTH, HEIGHT, null).meanStops;
  });
  return {
    recordedStops,
    deliveredStops: deliver(corrections),
    rollingStops: deliver(rolling),
    truthStops,
    smoothStops: smooth,
  };
}

function rollingMean(values: readonly number[]): number[] {
  return values.map((_, n) => {
    const window = values.slice(Math.max(0, n - ROLLING_HALF), n + ROLLING_HALF + 1);
    return window.reduce((sum, value) => sum + value, 0) / window.length;
  });
}

const RUNGS = [0, 1, 0, -1, 0, 0, 1, -1];

function quietRows(): BenchRow[] {
  const quiet = run({
    count: 120,
    rise: () => 0,
    exposure: (_seconds, n) => ({
      exposureSeconds: 8,
      iso: 3200 * 2 ** (RUNGS[Math.floor(n / 7) % RUNGS.length]! / 3),
      fNumber: 2.8,
    }),
  });
  const error = (film: readonly number[]): number =>
    frameToFrameRms(film.map((stops, n) => stops - quiet.truthStops[n]!));
  const note = `0.05 stop of scatter and third-stop steps; as taken ${error(quiet.recordedStops).toFixed(4)}`;
  const [own, rolling] = [error(quiet.deliveredStops), error(quiet.rollingStops)];
  const name = "frame-to-frame error of a quiet stretch against known truth";
  return [
    row({ name, value: own, unit: "stop RMS", ...limit(0.01), note }),
    row({ name, value: own, unit: "stop RMS", ...rollingMeanIs(rolling), note }),
  ];
}

/** A rise of the whole sky inside a frame set. */
type Surge = {
  readonly name: string;
  readonly stops: number;
  readonly overSeconds: number;
  readonly atSeconds: number;
  readonly frameCount: number;
  /** Whether the governor takes it out of the exposure, one frame late. */
  readonly isGoverned: boolean;
  /** A pause that ends half a minute before it, s. */
  readonly pauseSeconds?: number;
};

const SURGES: readonly Surge[] = [
  surge("3-stop rise over 30 s"),
  surge("3-stop rise over 30 s, the exposure held", { isGoverned: false }),
  surge("3-stop rise over 30 s in a set of 1 h", { atSeconds: 1800, frameCount: 360 }),
  surge("3-stop rise over 30 s, 150 s after the set's begin", { atSeconds: 150 }),
  surge("3-stop rise over 30 s, 150 s before the set's end", { atSeconds: 1020 }),
  surge("3-stop rise over 30 s, just after a pause of 10 min", { pauseSeconds: 600 }),
  surge("1-stop rise over 10 s", { stops: 1, overSeconds: 10 }),
  surge("2-stop rise over 60 s", { stops: 2, overSeconds: 60 }),
  surge("3-stop rise over 120 s", { overSeconds: 120 }),
  surge("4-stop rise over 30 s", { stops: 4 }),
];

/** In the middle of twenty minutes, unless said otherwise. */
function surge(name: string, change: Partial<Surge> = {}): Surge {
  return {
    ...{ name, stops: 3, overSeconds: 30, atSeconds: 600, frameCount: 120, isGoverned: true },
    ...change,
  };
}

function surgeRows(): BenchRow[] {
  return SURGES.flatMap((one) => {
    const { stops, overSeconds, atSeconds, frameCount, isGoverned, pauseSeconds = 0 } = one;
    const rise = (seconds: number): number =>
      stops * Math.min(1, Math.max(0, (seconds - atSeconds) / overSeconds));
    const exposure = (seconds: number): Exposure =>
      isGoverned
        ? { exposureSeconds: 8, iso: 3200 * 2 ** -rise(seconds - SECONDS_BETWEEN), fNumber: 2.8 }
        : { exposureSeconds: 4, iso: 800, fNumber: 2.8 };
    const secondsOf = (n: number): number => {
      const seconds = n * SECONDS_BETWEEN;
      return seconds >= atSeconds - 30 ? seconds : seconds - pauseSeconds;
    };
    const film = run({ count: frameCount, rise, exposure, secondsOf });
    const before = atSeconds / SECONDS_BETWEEN;
    const after = Math.ceil((atSeconds + overSeconds) / SECONDS_BETWEEN);
    const height = (series: readonly number[]): number => series[after]! - series[before]!;
    // What the rise is worth in the camera's own tones, were the exposure held.
    const whole = (height(film.truthStops) * stops) / (stops + height(film.smoothStops));
    const kept = (series: readonly number[]): number => (100 * height(series)) / whole;
    const name = `height that a film keeps: ${one.name}`;
    const note = `as taken ${kept(film.recordedStops).toFixed(0)} %`;
    const own = kept(film.deliveredStops);
    return [
      row({ name, value: own, unit: "%", comparedWith: "at least", comparedValue: 95, note }),
      row({ name, value: own, unit: "%", ...rollingMeanIs(kept(film.rollingStops)), note }),
    ];
  });
}

async function throughputRows(): Promise<BenchRow[]> {
  const folder = mkdtempSync(join(tmpdir(), "nattvakt-bench-"));
  try {
    const count = 60;
    const night = await renderNight({
      ...{ dataDir: folder, count, widthPx: 1200, heightPx: 800, scatterStops: SCATTER_STOPS },
      arcAltitudeDeg: 35,
    });
    const outDir = join(folder, "out");
    const order = { videos: ["h264"] as const };
    const whole = await secondsOf(() => deliverInTest(night.nightDir, outDir, order));
    // Everything rendered already, the film taken away: what is left is handing frames to the encoder.
    for (const file of readdirSync(outDir)) if (file.endsWith(".mp4")) rmSync(join(outDir, file));
    const readyMade = await secondsOf(() =>
      deliverInTest(night.nightDir, outDir, { ...order, resume: true }),
    );
    const alone = await secondsOf(() => {
      encodeAlone(join(outDir, "sequence-made-up-000000", "%06d.jpg"), join(folder, "alone.mp4"));
      return Promise.resolve();
    });
    const compared = { unit: "frames/s", comparedWith: "ffmpeg alone on the same sequence" };
    const note = `${count} frames of 1200 × 800 px, H.264`;
    return [
      row({
        ...{ name: "film from ready-made frames", value: count / readyMade, ...compared },
        ...{ comparedValue: count / alone, note: `${note}; at least 0.8` },
      }),
      row({
        name: "whole delivery: measure, deflicker, render, keep the sequence, encode",
        ...{ value: count / whole, ...compared, comparedValue: count / alone, note },
      }),
    ];
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

function encodeAlone(pattern: string, outPath: string): void {
  const args = encoderArguments({
    ...{ encoderPath: findVideoEncoder(), kind: "h264", outPath, framesPerSecond: 25 },
    ...{ widthPx: 1200, heightPx: 800, source: { pattern }, tags: {} },
  });
  const { status, stderr } = spawnSync(findVideoEncoder(), args, { encoding: "utf8" });
  if (status !== 0) throw new Error(stderr);
}

async function secondsOf(work: () => Promise<unknown>): Promise<number> {
  const start = performance.now();
  await work();
  return (performance.now() - start) / 1000;
}

function limit(comparedValue: number) {
  return { comparedWith: "limit", comparedValue };
}

function rollingMeanIs(comparedValue: number) {
  return { comparedWith: `plain rolling mean over ${2 * ROLLING_HALF + 1} frames`, comparedValue };
}

function row(fields: Omit<BenchRow, "group" | "ratio">): BenchRow {
  return { group: "deliver", ...fields, ratio: fields.value / fields.comparedValue };
}
