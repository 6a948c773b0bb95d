import { spawn, type ChildProcess } from "node:child_process";
import { availableParallelism, loadavg } from "node:os";
import { createInterface } from "node:readline";
import { fileURLToPath, pathToFileURL } from "node:url";
import exifr from "exifr";
import type { Camera, CameraEvent } from "../../controller/cameras/camera.ts";
import { STANDARD_CONTROLS } from "../../controller/cameras/standardControls.ts";
import { createTransport, type CameraTarget } from "../../controller/cameras/createTransport.ts";
import { openPtpCamera } from "../../controller/shutter/ptpCamera.ts";
import type { ClockOrigin } from "../../controller/timing/clock.ts";
import type { MomentWait } from "../../controller/timing/preciseWait.ts";
import { plainTimerWait } from "../support/plainTimerWait.ts";
import { ShutterFlag } from "../../controller/shutter/shutterFlag.ts";
import { TimingLoop } from "../../controller/shutter/timingLoop.ts";
import { monotonicMs } from "../../core/units.ts";
import type { BenchRow } from "./benchRow.ts";
import { tableOf } from "./table.ts";
import { valueAtShare } from "../../core/statistics.ts";

/** Night seconds a real second; figures below are real milliseconds. */
const RATE = 10;
const BUSY_SECONDS = 0.5;
const FRAMES = 125;
/** Frames at the start that are taken but not counted: the link's pace is still being learnt. */
export const WARM_UP = 5;
/** One blow of work that holds the main thread, as decoding a large picture does. */
const LOAD_MS = 30;

/** What a run of frames measured, by the camera's own record. */
export type Run = { readonly errorsMs: readonly number[]; readonly deadMs: readonly number[] };

/** The part of a camera that a run needs. */
export type Shooter = Pick<Camera, "connect" | "expose" | "close" | "onEvent">;

/**
 * Asked against actual exposure, and the dead time between frames: the timing thread beside the same
 * session code on the main thread with its plain timers, idle and under full load.
 */
export async function benchShutter(): Promise<BenchRow[]> {
  const threadIdle = await run(threadCamera, { isLoaded: false });
  const plainIdle = await run(plainCamera, { isLoaded: false });
  const threadLoaded = await run(threadCamera, { isLoaded: true });
  const plainLoaded = await run(plainCamera, { isLoaded: true });
  return [
    ...errorRows("main thread idle", threadIdle, plainIdle),
    ...errorRows("main thread under full load", threadLoaded, plainLoaded),
    row({
      name: "dead time the daemon adds between ready and the next opening, p95",
      value: valueAtShare(threadIdle.deadMs, 0.95) ?? NaN,
      comparedValue: valueAtShare(plainIdle.deadMs, 0.95) ?? NaN,
    }),
  ];
}

function errorRows(condition: string, thread: Run, plain: Run): BenchRow[] {
  return [0.5, 0.99].map((share) =>
    row({
      name: `error of a bulb exposure, ${condition}, p${share * 100}`,
      value: valueAtShare(thread.errorsMs, share) ?? NaN,
      comparedValue: valueAtShare(plain.errorsMs, share) ?? NaN,
    }),
  );
}

function row(figures: { name: string; value: number; comparedValue: number }): BenchRow {
  return {
    group: "shutter",
    unit: "ms",
    comparedWith: "plain timers on the main thread",
    ratio: figures.value / figures.comparedValue,
    note: `${FRAMES - WARM_UP} frames, load ${loadavg()[0]?.toFixed(1)} on ${availableParallelism()} processors`,
    ...figures,
  };
}

/** Takes the frames one after the other, each ordered at the camera's "ready". */
async function run(
  open: (target: CameraTarget, origin: ClockOrigin) => Shooter,
  { isLoaded }: { readonly isLoaded: boolean },
): Promise<Run> {
  const device = await startDevice();
  const camera = open(device.target, device.origin);
  const stopLoad = isLoaded ? loadMainThread() : () => undefined;
  try {
    return await measured(await takeFrames(camera, FRAMES));
  } finally {
    stopLoad();
    await camera.close();
    device.stop();
  }
}

/** What the timing thread's exposures are off by, while whatever runs on the machine runs. */
export async function threadErrorsMs(): Promise<readonly number[]> {
  const { errorsMs } = await run(threadCamera, { isLoaded: false });
  return errorsMs;
}

/** Exposures of 2.1 s to 2.2 s, no two the same: bulb, and short enough for many of them. */
function askedSeconds(frameIndex: number): number {
  return 2.1 + (frameIndex % 50) / 500 + frameIndex / 100_000;
}

/** @param onOrder  Called with each frame just before it is ordered. */
export function takeFrames(
  camera: Shooter,
  frameCount: number,
  onOrder: (frameIndex: number) => void = () => undefined,
): Promise<ReadonlyMap<number, Uint8Array>> {
  return new Promise((resolve, reject) => {
    const jpegs = new Map<number, Uint8Array>();
    let ordered = 0;
    const order = (): void => {
      if (ordered === frameCount) return;
      onOrder(ordered);
      const exposure = { exposureSeconds: askedSeconds(ordered), iso: 1600, fNumber: 2.8 };
      camera.expose({ frameIndex: ordered, exposure, openAtMs: monotonicMs(0) });
      ordered += 1;
    };
    camera.onEvent((event: CameraEvent) => {
      if (event.kind === "connected" || event.kind === "ready") order();
      if (event.kind === "failed") reject(new Error(event.sentence));
      if (event.kind === "frameMissing") reject(new Error(event.why));
      if (event.kind !== "frameArrived") return;
      jpegs.set(event.frameIndex, event.jpeg);
      if (jpegs.size === frameCount) resolve(jpegs);
    });
    camera.connect();
  });
}

/** Reads what happened out of each file's Exif. */
export async function measured(jpegs: ReadonlyMap<number, Uint8Array>): Promise<Run> {
  const errorsMs: number[] = [];
  const deadMs: number[] = [];
  let closedMs: number | null = null;
  for (let index = 0; index < jpegs.size; index += 1) {
    const { openedMs, exposureSeconds } = await readRecord(jpegs.get(index)!);
    if (index >= WARM_UP) {
      errorsMs.push((Math.abs(exposureSeconds - askedSeconds(index)) * 1000) / RATE);
      deadMs.push((openedMs - closedMs! - BUSY_SECONDS * 1000) / RATE);
    }
    closedMs = openedMs + exposureSeconds * 1000;
  }
  return { errorsMs, deadMs };
}

async function readRecord(
  jpeg: Uint8Array,
): Promise<{ openedMs: number; exposureSeconds: number }> {
  const exif = (await exifr.parse(jpeg, { reviveValues: false })) as {
    readonly DateTimeOriginal: string;
    readonly SubSecTimeOriginal: string;
    readonly ExposureTime: number;
  };
  const [date = "", time = ""] = exif.DateTimeOriginal.split(" ");
  const wholeMs = Date.parse(`${date.replaceAll(":", "-")}T${time}Z`);
  return {
    openedMs: wholeMs + Number(`0.${exif.SubSecTimeOriginal}`) * 1000,
    exposureSeconds: exif.ExposureTime,
  };
}

function threadCamera(target: CameraTarget, origin: ClockOrigin): Shooter {
  return openPtpCamera({ cameraId: "camera-1", target, origin });
}

/** The same loop and session, but in this thread and with its timers. */
function plainCamera(target: CameraTarget, origin: ClockOrigin): Shooter {
  return loopCamera(target, origin, plainTimerWait());
}

/** The timing thread's loop and session in this thread. */
export function loopCamera(target: CameraTarget, origin: ClockOrigin, wait: MomentWait): Shooter {
  let hear: (event: CameraEvent) => void = () => undefined;
  const loop = new TimingLoop({
    cameraId: "camera-1",
    origin,
    controls: STANDARD_CONTROLS,
    flag: new ShutterFlag(ShutterFlag.createBuffer()),
    wait,
    createTransport: () => createTransport(target),
    tell: (message) => message.kind === "event" && hear(message.event),
  });
  const ended = loop.run();
  return {
    onEvent: (listener) => (hear = listener),
    connect: () => loop.take({ kind: "connect" }),
    expose: (order) => loop.take({ kind: "expose", order }),
    close: async () => {
      loop.take({ kind: "close" });
      await ended;
    },
  };
}

/** Keeps the main thread busy, with a gap for its events after every blow. */
function loadMainThread(): () => void {
  let isOn = true;
  const blow = (): void => {
    const endMs = performance.now() + LOAD_MS;
    while (performance.now() < endMs);
    if (isOn) setImmediate(blow);
  };
  setImmediate(blow);
  return () => (isOn = false);
}

export type Device = {
  readonly target: CameraTarget;
  readonly origin: ClockOrigin;
  stop(): void;
};

/** The virtual camera in its own process. */
export async function startDevice(): Promise<Device> {
  const args = ["--import", "tsx", "tests/support/flatCamera.ts"];
  const child: ChildProcess = spawn(
    process.execPath,
    [...args, String(RATE), String(BUSY_SECONDS)],
    { cwd: fileURLToPath(new URL("../../", import.meta.url)), stdio: ["pipe", "pipe", "inherit"] },
  );
  const lines = createInterface({ input: child.stdout! });
  const line = await new Promise<string>((resolve) => lines.once("line", resolve));
  const { port, origin } = JSON.parse(line) as { port: number; origin: ClockOrigin };
  return {
    target: { kind: "ip", host: "127.0.0.1", port },
    origin,
    stop: () => child.stdin!.end(),
  };
}

if (process.argv[1] !== undefined && import.meta.url === pathToFileURL(process.argv[1]).href) {
  process.stdout.write(tableOf(await benchShutter()));
}
