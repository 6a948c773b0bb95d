// The timing thread's own file: it runs in a worker and wires the loop to the main thread.
import { type MessagePort, workerData } from "node:worker_threads";
import { createTransport } from "../cameras/createTransport.ts";
import { ProtocolTape, taped } from "../cameras/trace/protocolTape.ts";
import { beatForWatchdog } from "../service/manager.ts";
import { postOwned } from "../workers/ownedBytes.ts";
import { askForPriority } from "../workers/threadPriority.ts";
import type { FromShutter, ShutterThreadData, ToShutter } from "./shutterMessages.ts";
import { preciseWait } from "../timing/preciseWait.ts";
import { ShutterFlag } from "./shutterFlag.ts";
import { TimingLoop } from "./timingLoop.ts";

const { port, ...data } = workerData as ShutterThreadData & { readonly port: MessagePort };

const scheduling = askForPriority();
port.postMessage({ kind: "scheduled", scheduling } satisfies FromShutter);
// A thread that ends, however it ends, is none that hangs.
process.on("exit", beatForWatchdog());

/** The last of the protocol, for the night on which something goes wrong. */
const tape = new ProtocolTape();
const trace = data.trace ? new ProtocolTape({ bytesMax: Infinity, ...data.trace }) : null;

function tellProtocol(from: ProtocolTape, why: "fault" | "trace"): void {
  const entries = from.take();
  if (entries.length > 0) postOwned(port, { kind: "protocol", why, entries } satisfies FromShutter);
}

const loop = new TimingLoop({
  cameraId: data.cameraId,
  origin: data.origin,
  controls: data.controls,
  profiles: data.profiles,
  setClock: data.setClock,
  flag: new ShutterFlag(data.flag),
  notePath: data.notePath ?? undefined,
  wait: preciseWait(),
  scheduling,
  createTransport: () => {
    const noted = taped(createTransport(data.target), tape);
    return trace === null ? noted : taped(noted, trace);
  },
  tell: (message: FromShutter, handedOver) => {
    if (trace !== null) tellProtocol(trace, "trace");
    if (message.kind === "event" && message.event.kind === "failed") tellProtocol(tape, "fault");
    postOwned(port, message, handedOver);
  },
});
port.on("message", (message: ToShutter) => loop.take(message));
// The main thread is gone: an exposure that runs is finished, nothing new is begun.
port.on("close", () => loop.end({ closeNow: false }));
await loop.run();
if (trace !== null) tellProtocol(trace, "trace");
port.close();
