import { asNightError, type NightError } from "../../../core/errors.ts";
import { encodeContainer, encodeDataHeader } from "../../../core/ptp/container.ts";
import { EVENTS } from "../../../core/ptp/events.ts";
import { transactionId } from "../../../core/ptp/ids.ts";
import { realMs } from "../../timing/clock.ts";
import { listLibusbDevices, type LibusbDevice } from "./libusbDevice.ts";
import { RunningTransaction } from "../runningTransaction.ts";
import { Strays } from "../strays.ts";
import type {
  OperationAnswer,
  OperationRequest,
  TransactionOptions,
  Transport,
  TransportEvent,
} from "../transport.ts";
import { alreadyRunning, brokenOff, linkLost } from "../transportErrors.ts";
import { chooseUsbCamera } from "./findCameras.ts";
import { UsbContainers, type ContainerSink } from "./containers.ts";
import { claimError, noUsbError } from "./usbErrors.ts";
import { UsbEvents } from "./usbEvents.ts";
import { UsbLink, UsbTransferError } from "./link.ts";
import { tidyUp, UsbRecovery, type BrokenBy } from "./recovery.ts";

/** How long a cancelled transaction may take to end before the link is given up. */
const CANCEL_MS = 3_000;
/** A write of this size at a time: a cancel gets through between two. */
const WRITE_BYTES = 512 * 1024;

type UsbTransportOptions = {
  /** Serial number or place ("1-2.3") of the camera; null: the only one there is. */
  readonly which: string | null;
  /** The devices on the bus; tests hand in their own. */
  readonly listDevices?: () => Promise<readonly LibusbDevice[]>;
  readonly cancelMs?: number;
};

/** What there is once the camera is open. */
type Line = { readonly link: UsbLink; readonly containers: UsbContainers };

/** The transaction in hand; `isWhole` says whether all announced data came. */
type InHand = {
  readonly transaction: RunningTransaction;
  hasData: boolean;
  isWhole: boolean;
  recovery: UsbRecovery | null;
};

/**
 * PTP over a still-image interface: a command, perhaps data, a response through the bulk pipes,
 * events beside them. Source: the layouts of MTP 1.1 appendix H; cancelling and recovering in the
 * order of the protocol facts sheet.
 */
export class UsbTransport implements Transport {
  #place: string;
  #usbIds: Transport["usbIds"];
  readonly #options: UsbTransportOptions;
  readonly #strays = new Strays();
  #line: Line | null = null;
  #inHand: InHand | null = null;
  #isOver = false;
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
  get usbIds(): Transport["usbIds"] {
    return this.#usbIds;
  }

  async open(timeoutMs: number): Promise<void> {
    const untilMs = realMs() + timeoutMs;
    const camera = await chooseUsbCamera(await this.#listDevices(), this.#options.which);
    const { place, device } = camera;
    this.#place = place;
    const { idVendor: vendorId, idProduct: productId } = device.deviceDescriptor;
    this.#usbIds = { vendorId, productId };
    let link: UsbLink;
    try {
      link = new UsbLink(camera);
    } catch (thrown) {
      throw claimError(thrown, place);
    }
    try {
      await tidyUp(link, place, untilMs);
      if (this.#isOver) throw linkLost(place);
    } catch (thrown) {
      this.#isOver = true;
      await link.close();
      throw asOpenError(thrown, place);
    }
    const read = (bytesMax: number, room: Uint8Array | null) => link.read(bytesMax, null, room);
    this.#line = { link, containers: new UsbContainers(read, link.packetBytes) };
    const events = new UsbEvents((event) => this.#receiveEvent(event));
    link.listen(
      ({ bytes, atMs }) => events.push(bytes, atMs),
      (error) => this.#lose(error),
    );
  }

  transact(request: OperationRequest, options: TransactionOptions): Promise<OperationAnswer> {
    const line = this.#line;
    if (this.#isOver || line === null) return Promise.reject(linkLost(this.place));
    if (this.#inHand !== null) return Promise.reject(alreadyRunning());
    const transaction = new RunningTransaction(request, options);
    const inHand: InHand = { transaction, hasData: false, isWhole: true, recovery: null };
    this.#inHand = inHand;
    this.#strays.remember(transaction.id);
    void this.#run(line, inHand);
    transaction.watch(this.place, (reason) => this.#breakOff(line.link, inHand, reason, "us"));
    return transaction.answer;
  }

  onEvent(listener: (event: TransportEvent) => void): void {
    this.#eventListeners.push(listener);
  }

  onLost(listener: (error: NightError) => void): void {
    this.#lossListeners.push(listener);
  }

  async close(): Promise<void> {
    this.#isOver = true;
    this.#letGo()?.settle(linkLost(this.place));
    await this.#shut();
  }

  async #listDevices(): Promise<readonly LibusbDevice[]> {
    try {
      return await (this.#options.listDevices ?? listLibusbDevices)();
    } catch (thrown) {
      throw noUsbError(thrown);
    }
  }

  /** Runs one transaction to its end, whatever that is; never throws. */
  async #run(line: Line, inHand: InHand): Promise<void> {
    try {
      await this.#send(line, inHand);
      await this.#receive(line, inHand);
    } catch (thrown) {
      if (!inHand.transaction.isSettled) this.#lose(thrown as Error);
    }
  }

  async #send({ link, containers }: Line, inHand: InHand): Promise<void> {
    const { operationCode: code, parameters, dataOut } = inHand.transaction.request;
    const id = transactionId(inHand.transaction.id);
    const command = encodeContainer({ kind: "command", code, transactionId: id, parameters });
    await this.#write(link, inHand, command);
    if (dataOut === null) return;
    const header = encodeDataHeader({ code, transactionId: id }, dataOut.length);
    if (containers.splitsHeaders) {
      await this.#write(link, inHand, header);
      await this.#writeAll(link, inHand, dataOut);
    } else {
      await this.#writeAll(link, inHand, Buffer.concat([header, dataOut]));
    }
  }

  /** One data phase, with the empty packet that ends a phase of whole packets. */
  async #writeAll(link: UsbLink, inHand: InHand, bytes: Uint8Array): Promise<void> {
    for (let at = 0; at < bytes.length; at += WRITE_BYTES) {
      await this.#write(link, inHand, bytes.subarray(at, at + WRITE_BYTES));
    }
    if (bytes.length % link.packetBytes === 0) await this.#write(link, inHand, new Uint8Array());
  }

  /** Nothing more is sent of a transaction that is over; a refusal of the pipe ends it. */
  async #write(link: UsbLink, inHand: InHand, bytes: Uint8Array): Promise<void> {
    const { transaction } = inHand;
    if (transaction.cancelled !== null || transaction.isSettled) return;
    try {
      await link.write(bytes, null);
    } catch (thrown) {
      await this.#handleFailure(link, inHand, thrown);
    }
  }

  /** Reads until this transaction's response; what belongs to older ones is passed over. */
  async #receive({ link, containers }: Line, inHand: InHand): Promise<void> {
    const { transaction } = inHand;
    const sink = this.#sinkOf(inHand);
    while (!transaction.isSettled) {
      try {
        const container = await containers.next(sink);
        if (container.transactionId !== transaction.id) {
          this.#strays.noteAnswerTo(container.transactionId);
        } else if (container.kind === "data") {
          inHand.hasData = true;
          inHand.isWhole = container.isWhole;
        } else {
          await inHand.recovery?.cleaned;
          if (transaction.isSettled) return;
          this.#letGo()?.conclude(container, inHand.isWhole);
        }
      } catch (thrown) {
        if (isQuiet(thrown) && transaction.cancelled !== null) {
          return this.#letGo()?.settle(transaction.cancelled);
        }
        await this.#handleFailure(link, inHand, thrown);
      }
    }
  }

  #sinkOf(inHand: InHand): ContainerSink {
    const { transaction } = inHand;
    let isOurs = false;
    return {
      begin: (header, announcedBytes) => {
        isOurs = header.transactionId === transaction.id;
        if (!isOurs) return;
        if (inHand.hasData || transaction.request.dataOut !== null) this.#strays.note();
        transaction.announce(announcedBytes);
      },
      roomFor: (bytesMax) => (isOurs ? transaction.roomFor(bytesMax) : null),
      piece: (bytes) => {
        if (isOurs) transaction.takeData(bytes);
      },
    };
  }

  /** A stall is how a camera breaks off by itself; everything else that is not ours is the end. */
  async #handleFailure(link: UsbLink, inHand: InHand, thrown: unknown): Promise<void> {
    const { transaction } = inHand;
    const trouble = thrown instanceof UsbTransferError ? thrown.trouble : null;
    if (trouble === "cancelled" && transaction.cancelled !== null) return;
    if (trouble !== "stall") throw thrown;
    this.#strays.note();
    this.#line?.containers.drop();
    transaction.markDiscarded();
    if (transaction.cancelled === null) this.#breakOff(link, inHand, brokenOff(), "stall");
    else await link.clearHalts();
    await inHand.recovery?.cleaned;
  }

  /** Ends a transaction before its end, and sees to it that the next one finds both in step. */
  #breakOff(link: UsbLink, inHand: InHand, reason: NightError, by: BrokenBy): void {
    const { transaction } = inHand;
    if (transaction.isSettled || transaction.cancelled !== null) return;
    transaction.markCancelled(reason);
    const how = { by, withinMs: this.#options.cancelMs ?? CANCEL_MS };
    inHand.recovery = new UsbRecovery(link, transaction, how, (cause) => this.#lose(cause));
  }

  #receiveEvent(event: TransportEvent): void {
    if (event.eventCode === EVENTS.CancelTransaction) {
      const inHand = this.#inHand;
      if (inHand?.transaction.id === event.transactionId && this.#line) {
        this.#breakOff(this.#line.link, inHand, brokenOff(), "event");
      }
      return;
    }
    for (const listener of this.#eventListeners) listener(event);
  }

  /** The next transaction may begin. @returns the one that was in hand. */
  #letGo(): RunningTransaction | null {
    const transaction = this.#inHand?.transaction ?? null;
    this.#inHand = null;
    return transaction;
  }

  #lose(cause: Error | null): void {
    if (this.#isOver) return;
    this.#isOver = true;
    const error = linkLost(this.place, cause);
    this.#letGo()?.settle(error);
    void this.#shut();
    for (const listener of this.#lossListeners) listener(error);
  }

  #shut(): Promise<void> {
    this.#closing ??= this.#line?.link.close() ?? Promise.resolve();
    return this.#closing;
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
