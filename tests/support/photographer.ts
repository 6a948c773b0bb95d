// A program that takes one frame and then comes to grief, for the tests of what becomes of the shutter.
import { openPtpCamera } from "../../controller/shutter/ptpCamera.ts";
import type { ClockOrigin } from "../../controller/timing/clock.ts";
import { monotonicMs } from "../../core/units.ts";

/** What happens while the shutter is open. */
export type Mishap = "throw" | "exit" | "hang" | "none";

const [port, origin, mishap, exposureSeconds] = process.argv.slice(2);

const camera = openPtpCamera({
  cameraId: "camera-1",
  target: { kind: "ip", host: "127.0.0.1", port: Number(port) },
  origin: JSON.parse(origin ?? "") as ClockOrigin,
});
camera.onEvent((event) => {
  process.stdout.write(`${event.kind}\n`);
  if (event.kind === "connected") {
    camera.expose({
      frameIndex: 0,
      exposure: { exposureSeconds: Number(exposureSeconds), iso: 800, fNumber: 2.8 },
      openAtMs: monotonicMs(0),
    });
  }
  if (event.kind === "shutterOpened") comeToGrief(mishap as Mishap);
  if (event.kind === "frameArrived") void camera.close();
});
camera.connect();

function comeToGrief(how: Mishap): void {
  if (how === "throw") throw new Error("a bug in the main thread");
  if (how === "exit") process.exit(3);
  if (how === "hang") Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, HANG_MS);
}

/** Longer than any exposure that these tests ask for. */
const HANG_MS = 3_000;
