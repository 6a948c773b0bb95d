import { MessageChannel, type MessagePort, type Worker } from "node:worker_threads";
import { NightError } from "../../core/errors.ts";
import type { ClockOrigin } from "../timing/clock.ts";
import type { ClockSetting } from "./cameraTime.ts";
import type { ProtocolEntry } from "../cameras/trace/protocolTape.ts";
import type { FromShutter, ShutterThreadData, ToShutter, TraceWish } from "./shutterMessages.ts";
import { ShutterFlag } from "./shutterFlag.ts";
import { startWorker } from "../workers/startWorker.ts";
import type { Scheduling } from "../../core/words/timingWords.ts";
import type { Camera, CameraEvent, CardFile, ExposureOrder, FilePiece } from "../cameras/camera.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import type { CameraControls } from "../../core/profiles/cameraControls.ts";
import type { CameraProfiles } from "../../core/profiles/resolve.ts";
import { STANDARD_CONTROLS } from "../cameras/standardControls.ts";
import type { CameraTarget } from "../cameras/createTransport.ts";

/** How long the program's end waits for the shutter, and for the thread. */
const LAST_BREATH_MS = 3_000;
const CLOSE_MS = 12_000;

export type PtpCameraOptions = {
  readonly cameraId: string;
  readonly target: CameraTarget;
  readonly origin: ClockOrigin;
  /** Sets the camera's clock on connecting; left out: it is left alone. */
  readonly setClock?: ClockSetting | undefined;
  /** How the camera is worked; left out: by the profile that fits what it says of itself. */
  readonly profile?: CameraControls;
  /** The profiles to choose from; left out: the standard's own serves every camera. */
  readonly profiles?: CameraProfiles | undefined;
  /** Where the next process finds an exposure that this one leaves open; left out: nowhere. */
  readonly notePath?: string;
  /** Everything that goes over the link is reported; left out: only what precedes a fault. */
  readonly trace?: TraceWish | undefined;
  /** Called with what went over the link: before a fault, or piece by piece for a trace. */
  readonly onProtocol?: (why: "fault" | "trace", entries: readonly ProtocolEntry[]) => void;
  /** Called with how the system schedules the timing thread, whenever one begins. */
  readonly onScheduled?: (scheduling: Scheduling) => void;
};

/** A camera over PTP, worked by a timing thread of its own. Nothing happens before `connect`. */
export function openPtpCamera(options: PtpCameraOptions): Camera {
  return new PtpCamera(options);
}

type Request = { resolve(value: unknown): void; reject(error: NightError): void };

class PtpCamera implements Camera {
  readonly cameraId: string;
  readonly #options: PtpCameraOptions;
  readonly #flagBuffer = ShutterFlag.createBuffer();
  readonly #flag = new ShutterFlag(this.#flagBuffer);
  readonly #listeners: ((event: CameraEvent) => void)[] = [];
  readonly #requests = new Map<number, Request>();
  #lastRequestId = 0;
  #worker: Worker | null = null;
  #port: MessagePort | null = null;
  #closing: Promise<void> | null = null;
  readonly #onExit = (): void => this.#closeInLastBreath();

  constructor(options: PtpCameraOptions) {
    this.cameraId = options.cameraId;
    this.#options = options;
  }

  onEvent(listener: (event: CameraEvent) => void): void {
    this.#listeners.push(listener);
  }

  connect(): void {
    if (this.#closing) return;
    this.#startThread();
    this.#post({ kind: "connect" });
  }

  expose(order: ExposureOrder): void {
    if (this.#port) return this.#post({ kind: "expose", order });
    const { code, message: sentence } = notConnected();
    this.#tell({ kind: "failed", code, sentence, frameIndex: order.frameIndex, gone: true });
  }

  closeShutter(frameIndex: number): void {
    this.#post({ kind: "closeShutter", frameIndex });
  }

  readStatus(): void {
    this.#post({ kind: "readStatus" });
  }

  async prepare(exposure: Exposure): Promise<Exposure> {
    const ask = (requestId: number): ToShutter => ({ kind: "prepare", requestId, exposure });
    return (await this.#request(ask)) as Exposure;
  }

  noteReleased(frameIndex: number, what: "opened" | "closed"): void {
    this.#post({ kind: "noteReleased", frameIndex, what });
  }

  awaitAgain(frameIndex: number): void {
    this.#post({ kind: "awaitAgain", frameIndex });
  }

  async listCard(): Promise<readonly CardFile[]> {
    const ask = (requestId: number): ToShutter => ({ kind: "listCard", requestId });
    return (await this.#request(ask)) as readonly CardFile[];
  }

  async fetchFile(cameraHandle: number): Promise<Uint8Array> {
    const ask = (requestId: number): ToShutter => ({ kind: "fetchFile", requestId, cameraHandle });
    return (await this.#request(ask)) as Uint8Array;
  }

  async fetchPiece(
    cameraHandle: number,
    range: { readonly offset: number; readonly bytes: number },
  ): Promise<FilePiece> {
    const ask = (requestId: number): ToShutter => ({
      ...{ kind: "fetchPiece", requestId, cameraHandle, range },
    });
    return (await this.#request(ask)) as FilePiece;
  }

  close(): Promise<void> {
    this.#closing ??= this.#end();
    return this.#closing;
  }

  #startThread(): void {
    if (this.#worker) return;
    const { port1, port2 } = new MessageChannel();
    const data: ShutterThreadData = {
      cameraId: this.cameraId,
      target: this.#options.target,
      origin: this.#options.origin,
      controls: this.#options.profile ?? STANDARD_CONTROLS,
      setClock: this.#options.setClock,
      profiles: this.#options.profile ? undefined : this.#options.profiles,
      trace: this.#options.trace,
      flag: this.#flagBuffer,
      notePath: this.#options.notePath ?? null,
    };
    const worker = startWorker(new URL("./shutterThread.ts", import.meta.url), {
      workerData: { ...data, port: port2 },
      transferList: [port2],
    });
    this.#worker = worker;
    this.#port = port1;
    port1.on("message", (message: FromShutter) => this.#receive(message));
    worker.on("error", (error) => this.#noteThreadEnd(worker, error));
    worker.on("exit", () => this.#noteThreadEnd(worker, null));
    process.on("exit", this.#onExit);
  }

  #post(message: ToShutter): void {
    this.#port?.postMessage(message);
  }

  #request(ask: (requestId: number) => ToShutter): Promise<unknown> {
    if (!this.#port || this.#closing) return Promise.reject(notConnected());
    this.#lastRequestId += 1;
    const requestId = this.#lastRequestId;
    return new Promise((resolve, reject) => {
      this.#requests.set(requestId, { resolve, reject });
      this.#post(ask(requestId));
    });
  }

  #receive(message: FromShutter): void {
    switch (message.kind) {
      case "event":
        return this.#tell(message.event);
      case "scheduled":
        return this.#options.onScheduled?.(message.scheduling);
      case "protocol":
        return this.#options.onProtocol?.(message.why, message.entries);
      case "prepared":
        return this.#answer(message.requestId)?.resolve(message.exposure);
      case "card":
        return this.#answer(message.requestId)?.resolve(message.files);
      case "file":
        return this.#answer(message.requestId)?.resolve(message.bytes);
      case "piece":
        return this.#answer(message.requestId)?.resolve(message.piece);
      case "refused":
        return this.#answer(message.requestId)?.reject(
          new NightError(message.code, message.sentence),
        );
      case "ended":
        return;
    }
  }

  #answer(requestId: number): Request | undefined {
    const request = this.#requests.get(requestId);
    this.#requests.delete(requestId);
    return request;
  }

  #tell(event: CameraEvent): void {
    for (const listener of this.#listeners) listener(event);
  }

  /** A thread that ends unasked is replaced at once if it left the shutter open. */
  #noteThreadEnd(worker: Worker, error: Error | null): void {
    if (this.#worker !== worker) return;
    this.#worker = null;
    this.#port?.close();
    this.#port = null;
    process.removeListener("exit", this.#onExit);
    for (const request of this.#requests.values()) request.reject(notConnected());
    this.#requests.clear();
    if (this.#closing) return;
    const code = "camera.gone";
    const sentence = `The camera's timing thread stopped${error ? `: ${error.message}` : ""}.`;
    if (this.#flag.isSet) this.#startThread();
    this.#tell({ kind: "failed", code, sentence, frameIndex: null, gone: true });
  }

  async #end(): Promise<void> {
    const worker = this.#worker;
    if (!worker) return;
    this.#post({ kind: "close" });
    await new Promise<void>((resolve) => {
      const timer = setTimeout(() => void worker.terminate(), CLOSE_MS);
      worker.once("exit", () => {
        clearTimeout(timer);
        resolve();
      });
    });
  }

  /** The process is ending without `close`: the shutter is closed before it may. */
  #closeInLastBreath(): void {
    if (!this.#flag.isSet) return;
    this.#post({ kind: "close" });
    this.#flag.waitUntilClear(LAST_BREATH_MS);
  }
}

function notConnected(): NightError {
  return new NightError("camera.gone", "The camera is not connected.");
}
