import { spawnSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { applyGain8 } from "../../controller/deliver/applyGain.ts";
import { encoderArguments, findVideoEncoder } from "../../controller/deliver/videoEncoder.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import { DEFAULT_DEFLICKER, deflicker, type DeflickerFrame } from "../../core/frames/deflicker.ts";
import { measurePixels } from "../../core/frames/frameMeasure.ts";
import { gainTable } from "../../core/frames/gainTable.ts";
import { smoothExposure } from "../../core/frames/smoothExposure.ts";
import { createRandom } from "../../core/random.ts";
import { FULL_FRAME_SENSOR, TONE_CURVES, renderFrame } from "../../core/simulation/render.ts";
import { DEMO_NIGHT, HUT_SEVEN, createSky } from "../../core/simulation/sky.ts";
import { utcMs } from "../../core/units.ts";
import { deliverInTest } from "../support/deliverInTest.ts";
import { frameToFrameRms } from "../support/flickerNight.ts";
import { renderNight } from "../support/renderedNight.ts";
import type { BenchRow } from "./benchRow.ts";

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
};

type RunOptions = {
  readonly count: number;
  /** How much brighter the whole sky is than the rendered one, stops. */
  readonly rise: (seconds: number) => number;
  readonly exposure: (seconds: number, frame: number) => Exposure;
};

/**
 * Renders each moment of a quiet simulated sky twice: as taken, with scatter and steps, and as the
 * film's own smooth exposure would have it, without any. The camera's tone curve is not told.
 */
function run({ count, rise, exposure }: RunOptions): Run {
  const sky = createSky({ seed: 4, place: HUT_SEVEN, ...DEMO_NIGHT, story: "quiet" });
  const random = createRandom("scatter");
  const seconds = Array.from({ length: count }, (_, n) => n * SECONDS_BETWEEN);
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
    }).rgb;
  const pictures = seconds.map((at, n) => render(n, rise(at) + SCATTER_STOPS * random.normal()));
  const measures = pictures.map((rgb) => measurePixels(rgb, WIDTH, HEIGHT, null));
  const frames = measures.map((measure, n): DeflickerFrame => ({
    atSeconds: seconds[n]!,
    exposure: taken[n]!,
    cellStops: measure.cellStops.map((one) => one ?? NaN),
  }));
  const corrections = deflicker(frames).map((one) => one.totalStops);
  const recordedStops = measures.map((measure) => measure.meanStops);
  const rolling = rollingMean(recordedStops).map((mean, n) => mean - recordedStops[n]!);
  const deliver = (gains: readonly number[]): number[] =>
    pictures.map((rgb, n) => {
      const codes = applyGain8(rgb, gainTable(gains[n]!, null), n);
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

/** Forty minutes, the surge in their middle. */
const SURGE_FRAMES = 240;

function surgeRows(): BenchRow[] {
  const at = 1200;
  const rise = (seconds: number): number => 3 * Math.min(1, Math.max(0, (seconds - at) / 30));
  const before = at / SECONDS_BETWEEN;
  const after = (at + 30) / SECONDS_BETWEEN;
  const governed = (seconds: number): Exposure => ({
    exposureSeconds: 8,
    iso: 3200 * 2 ** -rise(seconds - SECONDS_BETWEEN),
    fNumber: 2.8,
  });
  const fixed = (): Exposure => ({ exposureSeconds: 4, iso: 800, fNumber: 2.8 });
  return (["governed", "fixed"] as const).flatMap((kind) => {
    const surge = run({
      count: SURGE_FRAMES,
      rise,
      exposure: kind === "governed" ? governed : fixed,
    });
    const height = (film: readonly number[]): number => film[after]! - film[before]!;
    // What three stops are worth in the camera's own tones, were the exposure held.
    const whole = height(surge.truthStops) / shareOfTruth(kind, rise, at);
    const kept = (film: readonly number[]): number => (100 * height(film)) / whole;
    const name = `height that a 3-stop rise over 30 s keeps, exposure ${kind}`;
    const note = `as taken ${kept(surge.recordedStops).toFixed(0)} %`;
    const own = kept(surge.deliveredStops);
    return [
      row({ name, value: own, unit: "%", comparedWith: "at least", comparedValue: 95, note }),
      row({ name, value: own, unit: "%", ...rollingMeanIs(kept(surge.rollingStops)), note }),
    ];
  });
}

/** The truth film follows the smooth exposure, which takes its small share of the governed surge. */
function shareOfTruth(
  kind: "governed" | "fixed",
  rise: (seconds: number) => number,
  at: number,
): number {
  if (kind === "fixed") return 1;
  const seconds = Array.from({ length: SURGE_FRAMES }, (_, n) => n * SECONDS_BETWEEN);
  const stops = seconds.map((one) => -rise(one - SECONDS_BETWEEN));
  const smooth = smoothExposure(stops, seconds, DEFAULT_DEFLICKER);
  const [from, to] = [at / SECONDS_BETWEEN, (at + 30) / SECONDS_BETWEEN];
  return (3 + smooth[to]! - smooth[from]!) / 3;
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
    // Everything rendered already: what is left is handing the frames to the encoder.
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
