import { spawn } from "node:child_process";
import { createInterface } from "node:readline";
import { fileURLToPath, pathToFileURL } from "node:url";
import type { Camera, CameraEvent } from "../../controller/cameras/camera.ts";
import { openPtpCamera } from "../../controller/shutter/ptpCamera.ts";
import type { ClockOrigin } from "../../controller/timing/clock.ts";
import { monotonicMs } from "../../core/units.ts";
import { startSlowLink } from "../support/slowLink.ts";
import type { BenchRow } from "./benchRow.ts";
import { tableOf } from "./table.ts";
import { valueAtShare } from "../../core/statistics.ts";

/** Night seconds a real second; figures below are real milliseconds. */
const RATE = 10;
const BUSY_SECONDS = 0.5;
const FRAMES = 60;
const EXPOSURE = { exposureSeconds: 2.1, iso: 1600, fNumber: 2.8 };
/** A radio link at its worst: every file of the second camera takes a second. */
const SLOW_BYTES_PER_SECOND = 15_000;

type Device = { readonly port: number; readonly origin: ClockOrigin; stop(): void };

/**
 * What a camera waits between its "ready" and the next opening, alone and beside a second camera of
 * the same night whose files crawl through a slow link.
 */
export async function benchSeveralCameras(): Promise<BenchRow[]> {
  const device = await startDevice();
  const slowDevice = await startDevice();
  const link = await startSlowLink(slowDevice.port, SLOW_BYTES_PER_SECOND);
  try {
    const alone = await takeFrames(open("camera-1", device), FRAMES);
    const slow = open("camera-2", { ...slowDevice, port: link.port });
    void takeFrames(slow, Infinity);
    const together = await takeFrames(open("camera-1", device), FRAMES);
    await slow.close();
    return [0.5, 0.95].map((share) => {
      const value = valueAtShare(together, share) ?? NaN;
      const comparedValue = valueAtShare(alone, share) ?? NaN;
      return {
        group: "severalCameras",
        name: `wait from ready to opening beside a second camera on a slow link, p${share * 100}`,
        unit: "ms",
        comparedWith: "the same camera alone",
        ...{ value, comparedValue, ratio: value / comparedValue },
        note: `${FRAMES} frames each`,
      };
    });
  } finally {
    link.close();
    device.stop();
    slowDevice.stop();
  }
}

function open(cameraId: string, { port, origin }: Pick<Device, "port" | "origin">): Camera {
  return openPtpCamera({ cameraId, target: { kind: "ip", host: "127.0.0.1", port }, origin });
}

/** Takes one frame after the other until there are enough, and closes the camera. */
function takeFrames(camera: Camera, frameCount: number): Promise<readonly number[]> {
  return new Promise((resolve, reject) => {
    const waitsMs: number[] = [];
    let readyMs: number | null = null;
    let ordered = 0;
    camera.onEvent((event: CameraEvent) => {
      if (event.kind === "failed") reject(new Error(event.sentence));
      if (event.kind === "shutterOpened" && readyMs !== null) {
        waitsMs.push((event.atMs - readyMs) / RATE);
      }
      if (event.kind !== "connected" && event.kind !== "ready") return;
      if (event.kind === "ready") readyMs = event.atMs;
      if (waitsMs.length >= frameCount) {
        return void camera.close().then(() => resolve(waitsMs), reject);
      }
      camera.expose({ frameIndex: ordered, exposure: EXPOSURE, openAtMs: monotonicMs(0) });
      ordered += 1;
    });
    camera.connect();
  });
}

async function startDevice(): Promise<Device> {
  const args = ["--import", "tsx", "tests/support/flatCamera.ts", String(RATE)];
  const child = spawn(process.execPath, [...args, String(BUSY_SECONDS)], {
    cwd: fileURLToPath(new URL("../../", import.meta.url)),
    stdio: ["pipe", "pipe", "inherit"],
  });
  const lines = createInterface({ input: child.stdout });
  const line = await new Promise<string>((resolve) => lines.once("line", resolve));
  const { port, origin } = JSON.parse(line) as { port: number; origin: ClockOrigin };
  return { port, origin, stop: () => child.stdin.end() };
}

if (process.argv[1] !== undefined && import.meta.url === pathToFileURL(process.argv[1]).href) {
  process.stdout.write(tableOf(await benchSeveralCameras()));
}
