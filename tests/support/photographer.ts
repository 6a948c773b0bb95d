// A program that takes one frame and then comes to grief, for the tests of what becomes of the shutter.
import { readProfiles } from "../../controller/profiles/readProfiles.ts";
import { openPtpCamera } from "../../controller/shutter/ptpCamera.ts";
import type { ClockOrigin } from "../../controller/timing/clock.ts";
import { monotonicMs } from "../../core/units.ts";

/** What happens while the shutter is open. */
export type Mishap = "throw" | "exit" | "hang" | "none";

/** No profiles of a person's own. */
const NOWHERE = "/nonexistent";
const [port, origin, mishap, exposureSeconds, notePath] = process.argv.slice(2);

const camera = openPtpCamera({
  cameraId: "camera-1",
  target: { kind: "ip", host: "127.0.0.1", port: Number(port) },
  origin: JSON.parse(origin ?? "") as ClockOrigin,
  profiles: readProfiles(NOWHERE).cameras,
  ...(notePath !== undefined && { notePath }),
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
