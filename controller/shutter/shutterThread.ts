// The timing thread's own file: it runs in a worker and wires the loop to the main thread.
import { setPriority } from "node:os";
import { platform } from "node:process";
import { type MessagePort, workerData } from "node:worker_threads";
import { createTransport } from "../cameras/createTransport.ts";
import type { FromShutter, ShutterThreadData, ToShutter } from "./messages.ts";
import { preciseWait } from "./preciseWait.ts";
import { ShutterLamp } from "./shutterLamp.ts";
import { TimingLoop } from "./timingLoop.ts";

/** Ahead of ordinary work, behind the system's own. */
const NICENESS = -10;

const { port, ...data } = workerData as ShutterThreadData & { readonly port: MessagePort };

askForPriority();

const loop = new TimingLoop({
  cameraId: data.cameraId,
  origin: data.origin,
  controls: data.controls,
  profiles: data.profiles,
  setClock: data.setClock,
  lamp: new ShutterLamp(data.lamp),
  wait: preciseWait(),
  createTransport: () => createTransport(data.target),
  tell: (message: FromShutter, transfer: readonly ArrayBuffer[] = []) =>
    port.postMessage(message, [...transfer]),
});
port.on("message", (message: ToShutter) => loop.take(message));
// The main thread is gone: an exposure that runs is finished, nothing new is begun.
port.on("close", () => loop.end({ closeNow: false }));
await loop.run();
port.close();

/** On Linux this concerns the calling thread alone; without the right to it nothing changes. */
function askForPriority(): void {
  if (platform !== "linux") return;
  try {
    setPriority(NICENESS);
  } catch {
    // An ordinary user may not; the timing then rests on the scheduler's fairness.
    return;
  }
}
