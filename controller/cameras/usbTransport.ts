import { setTimeout as sleep } from "node:timers/promises";
import { asNightError, NightError } from "../../core/errors.ts";
import { encodeContainer, encodeDataHeader } from "../../core/ptp/container.ts";
import { EVENTS } from "../../core/ptp/events.ts";
import { transactionId } from "../../core/ptp/ids.ts";
import { RESPONSES } from "../../core/ptp/responses.ts";
import { realMs } from "../clock.ts";
import { listLibusbDevices, type LibusbDevice } from "./libusbDevice.ts";
import type {
  OperationAnswer,
  OperationRequest,
  TransactionOptions,
  Transport,
  TransportEvent,
} from "./transport.ts";
import { chooseUsbCamera } from "./usbCameras.ts";
import { UsbContainers, type DataSink, type ReceivedContainer } from "./usbContainers.ts";
import { claimError, noUsbError } from "./usbErrors.ts";
import { UsbEvents } from "./usbEvents.ts";
import { UsbLink, UsbTransferError } from "./usbLink.ts";

/** How long a cancelled transaction may take to end before the link is given up. */
const CANCEL_MS = 3_000;
/** Between two looks at a camera that cleans up. Advice, no source. */
const STATUS_PAUSES_MS = [2, 5, 10, 20, 50];
/** Silence after which a bulk pipe counts as empty. */
const QUIET_MS = 25;
/** A pipe that is never quiet is not waited for at opening. */
const DRAIN_BYTES_MAX = 64 * 1024 * 1024;
const DRAIN_READ_BYTES = 64 * 1024;
/** A write of this size at a time: a cancel gets through between two. */
const WRITE_BYTES = 512 * 1024;
const STRAY_CONTAINERS_MAX = 200;
const REMEMBERED_TRANSACTIONS = 64;
const DATA_BYTES_MAX = 1024 * 1024 * 1024;

export type UsbTransportOptions = {
  /** Serial number or place ("1-2.3") of the camera; null: the only one there is. */
  readonly which: string | null;
  /** The devices on the bus; tests hand in their own. */
  readonly listDevices?: () => Promise<readonly LibusbDevice[]>;
  readonly cancelMs?: number;
};

type Running = {
  readonly request: OperationRequest;
  readonly options: TransactionOptions;
  readonly sentMs: number;
  readonly settle: (result: OperationAnswer | NightError) => void;
  isSettled: boolean;
  hasData: boolean;
  isWhole: boolean;
  dataBytes: number;
  hasDiscarded: boolean;
  /** What is thrown once the camera has broken off; null: it runs. */
  cancelled: NightError | null;
  /** Resolves when the camera says that it has cleaned up. */
  cleaned: Promise<void>;
};

/**
 * PTP over a still-image interface: a command, perhaps data, a response through the bulk pipes,
 * events beside them. Source: the layouts of MTP 1.1 appendix H; cancelling and recovering in the
 * order of the protocol facts sheet.
 */
export class UsbTransport implements Transport {
  #place: string;
  #usbIds: { readonly vendorId: number; readonly productId: number } | null = null;
  readonly #options: UsbTransportOptions;
  #link: UsbLink | null = null;
  #containers: UsbContainers | null = null;
  #running: Running | null = null;
  #isOver = false;
  #strayContainers = 0;
  #recentIds: number[] = [];
  readonly #eventListeners: ((event: TransportEvent) => void)[] = [];
  readonly #lossListeners: ((error: NightError) => void)[] = [];
  #closing: Promise<void> | null = null;

  constructor(options: UsbTransportOptions) {
    this.#options = options;
    this.#place = options.which === null ? "USB" : `USB (${options.which})`;
  }

  get place(): string {
    return this.#place;
  }

  /** What the device calls itself on the bus; known from `open` on. */
  get usbIds(): { readonly vendorId: number; readonly productId: number } | null {
    return this.#usbIds;
  }

  async open(timeoutMs: number): Promise<void> {
    const untilMs = realMs() + timeoutMs;
    const camera = await chooseUsbCamera(await this.#listDevices(), this.#options.which);
    this.#place = camera.place;
    const { idVendor: vendorId, idProduct: productId } = camera.device.deviceDescriptor;
    this.#usbIds = { vendorId, productId };
    try {
      this.#link = new UsbLink(camera);
    } catch (thrown) {
      throw claimError(thrown, camera.place);
    }
    const link = this.#link;
    this.#containers = new UsbContainers((bytesMax) => link.read(bytesMax, null), link.packetBytes);
    try {
      await this.#tidyUp(link, untilMs);
    } catch (thrown) {
      this.#isOver = true;
      await link.close();
      throw asOpenError(thrown, camera.place);
    }
    const events = new UsbEvents((event) => this.#receiveEvent(event));
    link.listen(
      ({ bytes, atMs }) => events.push(bytes, atMs),
      (error) => this.#lose(error),
    );
  }

  transact(request: OperationRequest, options: TransactionOptions): Promise<OperationAnswer> {
    const link = this.#link;
    const containers = this.#containers;
    if (this.#isOver || link === null || containers === null) return Promise.reject(this.#gone());
    if (this.#running !== null) {
      const sentence = "two transactions at once were asked of one camera";
      return Promise.reject(new NightError("invariant.violated", sentence));
    }
    return new Promise((resolve, reject) => {
      const onAbort = (): void => this.#cancel(link, running, cancelledError());
      const timer = setTimeout(() => this.#cancel(link, running, this.#late()), options.timeoutMs);
      const running: Running = {
        request,
        options,
        sentMs: realMs(),
        settle: (result) => {
          if (running.isSettled) return;
          running.isSettled = true;
          clearTimeout(timer);
          options.signal?.removeEventListener("abort", onAbort);
          this.#running = null;
          if (result instanceof NightError) reject(result);
          else resolve(result);
        },
        isSettled: false,
        hasData: false,
        isWhole: true,
        dataBytes: 0,
        hasDiscarded: false,
        cancelled: null,
        cleaned: Promise.resolve(),
      };
      this.#running = running;
      this.#remember(request.transactionId);
      void this.#run(link, containers, running);
      options.signal?.addEventListener("abort", onAbort, { once: true });
      if (options.signal?.aborted) onAbort();
    });
  }

  onEvent(listener: (event: TransportEvent) => void): void {
    this.#eventListeners.push(listener);
  }

  onLost(listener: (error: NightError) => void): void {
    this.#lossListeners.push(listener);
  }

  async close(): Promise<void> {
    this.#isOver = true;
    this.#running?.settle(this.#gone());
    await this.#shut();
  }

  async #listDevices(): Promise<readonly LibusbDevice[]> {
    try {
      return await (this.#options.listDevices ?? listLibusbDevices)();
    } catch (thrown) {
      throw noUsbError(thrown);
    }
  }

  /** A program that was killed may have left the camera in the middle of an answer. */
  async #tidyUp(link: UsbLink, untilMs: number): Promise<void> {
    await this.#waitUntilClean(link, () => realMs() < untilMs);
    let bytesLeft = DRAIN_BYTES_MAX;
    while (bytesLeft > 0 && realMs() < untilMs) {
      try {
        bytesLeft -= Math.max(1, (await link.read(DRAIN_READ_BYTES, QUIET_MS)).bytes.length);
      } catch (thrown) {
        if (!(thrown instanceof UsbTransferError)) throw thrown;
        if (thrown.trouble === "timeout") return;
        if (thrown.trouble !== "stall") throw thrown;
        await link.clearHalts();
      }
    }
    throw new NightError(
      "camera.busy",
      `The camera at ${this.#place} is still busy with something older; switch it off and on again.`,
    );
  }

  /** Runs one transaction to its end, whatever that is; never throws. */
  async #run(link: UsbLink, containers: UsbContainers, running: Running): Promise<void> {
    try {
      await this.#send(link, containers, running);
      const answer = await this.#receive(link, containers, running);
      if (!running.isSettled) running.settle(answer);
    } catch (thrown) {
      if (!running.isSettled) this.#lose(thrown as Error);
    }
  }

  async #send(link: UsbLink, containers: UsbContainers, running: Running): Promise<void> {
    const { operationCode: code, parameters, dataOut } = running.request;
    const id = transactionId(running.request.transactionId);
    const command = encodeContainer({ kind: "command", code, transactionId: id, parameters });
    await this.#write(link, running, command);
    if (dataOut === null) return;
    const header = encodeDataHeader({ code, transactionId: id }, dataOut.length);
    if (containers.splitsHeaders) {
      await this.#write(link, running, header);
      await this.#writeAll(link, running, dataOut);
    } else {
      await this.#writeAll(link, running, Buffer.concat([header, dataOut]));
    }
  }

  /** One data phase, with the empty packet that ends a phase of whole packets. */
  async #writeAll(link: UsbLink, running: Running, bytes: Uint8Array): Promise<void> {
    for (let at = 0; at < bytes.length; at += WRITE_BYTES) {
      await this.#write(link, running, bytes.subarray(at, at + WRITE_BYTES));
    }
    if (bytes.length % link.packetBytes === 0) {
      await this.#write(link, running, new Uint8Array());
    }
  }

  /** Nothing more is sent of a transaction that is over; a refusal of the pipe ends it. */
  async #write(link: UsbLink, running: Running, bytes: Uint8Array): Promise<void> {
    if (running.cancelled !== null || running.isSettled) return;
    try {
      await link.write(bytes, null);
    } catch (thrown) {
      await this.#suffer(link, running, thrown);
    }
  }

  /** Reads until this transaction's response; what belongs to older ones is passed over. */
  async #receive(
    link: UsbLink,
    containers: UsbContainers,
    running: Running,
  ): Promise<OperationAnswer | NightError> {
    const sink = this.#sinkOf(running);
    while (!running.isSettled) {
      let container: ReceivedContainer;
      try {
        container = await containers.next(sink);
      } catch (thrown) {
        if (isQuiet(thrown) && running.cancelled !== null) return running.cancelled;
        await this.#suffer(link, running, thrown);
        continue;
      }
      if (!this.#isOurs(running, container.transactionId)) continue;
      if (container.kind === "data") {
        running.hasData = true;
        running.isWhole = container.isWhole;
      } else {
        if (running.cancelled !== null) await running.cleaned;
        return this.#conclude(running, container);
      }
    }
    return this.#gone();
  }

  #sinkOf(running: Running): DataSink {
    let isOurs = false;
    return {
      begin: (header, announcedBytes) => {
        isOurs = header.transactionId === running.request.transactionId;
        if (!isOurs) return;
        if (running.hasData || running.request.dataOut !== null) this.#stray();
        this.#checkRoom(running, announcedBytes ?? 0);
      },
      piece: (bytes) => {
        if (!isOurs) return;
        running.dataBytes += bytes.length;
        this.#checkRoom(running, running.dataBytes);
        // What comes after a cancel is only read to stay in step.
        if (running.cancelled !== null || running.isSettled) running.hasDiscarded = true;
        else running.options.onData?.(bytes);
      },
    };
  }

  #checkRoom(running: Running, bytes: number): void {
    if (bytes <= (running.options.dataBytesMax ?? DATA_BYTES_MAX)) return;
    throw new NightError("ptp.malformed", "the camera sent more data than was asked for");
  }

  #conclude(
    running: Running,
    response: Extract<ReceivedContainer, { kind: "response" }>,
  ): OperationAnswer | NightError {
    const { code } = response;
    const brokeOff =
      code === RESPONSES.TransactionCancelled || code === RESPONSES.IncompleteTransfer;
    if (running.cancelled !== null && (brokeOff || running.hasDiscarded)) return running.cancelled;
    return {
      responseCode: code,
      parameters: response.parameters,
      dataBytes: running.dataBytes,
      isDataComplete: running.isWhole,
      sentMs: running.sentMs,
      answeredMs: response.atMs,
    };
  }

  /** Whether a container is the running transaction's; late ones are passed over. */
  #isOurs(running: Running, id: number): boolean {
    if (running.request.transactionId === id) return true;
    if (!this.#recentIds.includes(id)) {
      throw new NightError("ptp.malformed", "the camera answered what was never asked");
    }
    this.#stray();
    return false;
  }

  /** A stall is how a camera breaks off by itself; everything else that is not ours is the end. */
  async #suffer(link: UsbLink, running: Running, thrown: unknown): Promise<void> {
    const trouble = thrown instanceof UsbTransferError ? thrown.trouble : null;
    if (trouble === "cancelled" && running.cancelled !== null) return;
    if (trouble !== "stall") throw thrown;
    this.#stray();
    this.#containers?.drop();
    running.hasDiscarded = true;
    if (running.cancelled === null) this.#breakOff(link, running, brokeOffError(), "by a stall");
    else await link.clearHalts();
    await running.cleaned;
  }

  #cancel(link: UsbLink, running: Running, reason: NightError): void {
    if (running.isSettled || running.cancelled !== null) return;
    this.#breakOff(link, running, reason, "by us");
  }

  /** Brings camera and host back in step after a broken transaction, or gives the link up. */
  #breakOff(
    link: UsbLink,
    running: Running,
    reason: NightError,
    how: "by us" | "by a stall" | "by an event",
  ): void {
    running.cancelled = reason;
    const untilMs = realMs() + (this.#options.cancelMs ?? CANCEL_MS);
    const isWaited = (): boolean => !running.isSettled && realMs() < untilMs;
    const cleaning = (async () => {
      if (how === "by us") await link.cancel(running.request.transactionId);
      if (how === "by a stall") await link.clearHalts();
      // What was on its way out is not wanted any more.
      link.callBackWrite();
      return await this.#waitUntilClean(link, isWaited);
    })();
    running.cleaned = cleaning.then(
      () => undefined,
      () => undefined, // told below
    );
    cleaning
      .then(async (state) => {
        // The answer may still come; behind a clean state, silence means that there is none.
        while (state !== "never" && isWaited()) {
          await sleep(Math.min(QUIET_MS, Math.max(1, untilMs - realMs())));
          if (state === "clean" && !running.isSettled) link.callBackRead();
        }
        if (!running.isSettled) await this.#reset(link);
      })
      .catch((thrown: unknown) => {
        if (!running.isSettled) this.#lose(thrown as Error);
      });
  }

  /** Looks at the camera's state until it is ready; "unclear" when the camera cannot tell. */
  async #waitUntilClean(
    link: UsbLink,
    isWaited: () => boolean,
  ): Promise<"clean" | "unclear" | "never"> {
    for (let attempt = 0; isWaited(); attempt += 1) {
      const status = await link.readStatus();
      if (status === null) return "unclear";
      if (status === RESPONSES.OK) return "clean";
      if (status === RESPONSES.TransactionCancelled) await link.clearHalts();
      await sleep(STATUS_PAUSES_MS[Math.min(attempt, STATUS_PAUSES_MS.length - 1)] ?? 0);
    }
    return "never";
  }

  /** A reset closes the session, so that the link is of no use any more either. */
  async #reset(link: UsbLink): Promise<void> {
    await link.reset();
    this.#lose(new Error("a cancelled transaction never ended; the camera was reset"));
  }

  #receiveEvent(event: TransportEvent): void {
    const running = this.#running;
    if (event.eventCode === EVENTS.CancelTransaction) {
      const isOurs = running?.request.transactionId === event.transactionId;
      if (isOurs && this.#link && running.cancelled === null) {
        this.#breakOff(this.#link, running, brokeOffError(), "by an event");
      }
      return;
    }
    for (const listener of this.#eventListeners) listener(event);
  }

  #remember(id: number): void {
    this.#recentIds.push(id);
    if (this.#recentIds.length > REMEMBERED_TRANSACTIONS) this.#recentIds.shift();
  }

  #stray(): void {
    this.#strayContainers += 1;
    if (this.#strayContainers <= STRAY_CONTAINERS_MAX) return;
    throw new NightError("ptp.malformed", "the camera sent too much that belongs nowhere");
  }

  #lose(cause: Error | null): void {
    if (this.#isOver) return;
    this.#isOver = true;
    const error = this.#gone(cause);
    this.#running?.settle(error);
    void this.#shut();
    for (const listener of this.#lossListeners) listener(error);
  }

  #shut(): Promise<void> {
    this.#closing ??= this.#link?.close() ?? Promise.resolve();
    return this.#closing;
  }

  #gone(cause: Error | null = null): NightError {
    const sentence = `The link to the camera at ${this.place} is lost.`;
    return new NightError("camera.gone", sentence, { why: cause?.message }, { cause });
  }

  #late(): NightError {
    return new NightError("ptp.timeout", `The camera at ${this.place} did not answer in time.`);
  }
}

function asOpenError(thrown: unknown, place: string): NightError {
  if (thrown instanceof UsbTransferError) return claimError(thrown.cause ?? thrown, place);
  return asNightError(thrown, "camera.unreachable");
}

/** A read that we called back, because nothing more was to be expected. */
function isQuiet(thrown: unknown): boolean {
  return thrown instanceof UsbTransferError && thrown.trouble === "cancelled";
}

function cancelledError(): NightError {
  return new NightError("ptp.cancelled", "The transfer was broken off.");
}

function brokeOffError(): NightError {
  return new NightError("ptp.cancelled", "The camera broke the operation off.");
}
