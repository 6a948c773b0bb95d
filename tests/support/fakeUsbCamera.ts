import { createMailbox, type Cutting, type FakePeer, type PeerRequest } from "./fakePeer.ts";
import {
  containerBytes,
  containerHeader,
  StillImageFunction,
  words,
  wordsOf,
  type HostContainer,
  type Setup,
  type UsbIdentity,
} from "./usbFunction.ts";

const TYPE = { command: 1, data: 2, response: 3, event: 4 } as const;
const OK = 0x2001;
const BUSY = 0x2019;
const UNKNOWN_LENGTH = 0xffffffff;
/** Standard operations that bring data with them. Source: MTP 1.1 appendix D. */
const OPERATIONS_WITH_DATA = [0x100c, 0x100d, 0x1016];

export type FakeUsbOptions = Partial<UsbIdentity> & {
  /** Leaves out the empty packet behind a data phase of whole packets, as some cameras do. */
  readonly skipsEmptyPackets?: boolean;
  /** Sends a data phase's header in a packet of its own. */
  readonly splitsHeaders?: boolean;
  /** Answers no class request, as the simplest cameras do. */
  readonly knowsNoRequests?: boolean;
};

/** A camera on USB that does as a test says. */
export class FakeUsbCamera extends StillImageFunction implements FakePeer {
  readonly resets = createMailbox<true>();
  /** What the host asked for by class request, in order. */
  readonly classRequests: number[] = [];
  /** What Get Device Status answers; null: what fits. */
  status: number | null = null;
  readonly #options: FakeUsbOptions;
  readonly #requests = createMailbox<PeerRequest>();
  readonly #cancels = createMailbox<number>();
  #command: PeerRequest | null = null;
  #isCleaningUp = false;
  #cutting: Cutting = "packet by packet";
  #held: Buffer[] = [];
  #sending: Promise<void> = Promise.resolve();
  /** The data phase as far as it does not fill a packet. */
  #unsent: Buffer = Buffer.alloc(0);

  constructor(options: FakeUsbOptions = {}) {
    super(options);
    this.#options = options;
  }

  nextRequest(): Promise<PeerRequest> {
    return this.#requests.take();
  }

  nextCancel(): Promise<number> {
    return this.#cancels.take();
  }

  startData(id: number, totalBytes: number | null): void {
    const length = totalBytes === null ? UNKNOWN_LENGTH : 12 + totalBytes;
    const header = containerHeader(TYPE.data, this.#command?.operationCode ?? 0, id, length);
    const isSplit = this.#options.splitsHeaders || this.#cutting === "byte by byte";
    if (isSplit && totalBytes !== 0) this.#send(header);
    else this.#unsent = header;
  }

  data(_id: number, bytes: Uint8Array): void {
    const all = Buffer.concat([this.#unsent, bytes]);
    const whole = all.length - (all.length % this.identity.packetBytes);
    if (whole > 0) this.#send(all.subarray(0, whole));
    this.#unsent = all.subarray(whole);
  }

  endData(id: number, bytes: Uint8Array): void {
    this.data(id, bytes);
    if (this.#unsent.length > 0 || !this.#options.skipsEmptyPackets) this.#send(this.#unsent);
    this.#unsent = Buffer.alloc(0);
  }

  respond(id: number, responseCode: number, parameters: readonly number[] = []): void {
    this.#isCleaningUp = false;
    this.#send(containerBytes(TYPE.response, responseCode, id, words(parameters)));
  }

  event(code: number, id: number, parameters: readonly number[] = []): void {
    this.interruptIn.send(containerBytes(TYPE.event, code, id, words(parameters)));
  }

  /** Any bytes on the bulk pipe, as packets of their own. */
  sendBytes(bytes: Uint8Array): void {
    this.#send(Buffer.from(bytes));
  }

  cut(cutting: Cutting): void {
    this.#cutting = cutting;
  }

  async flush(): Promise<void> {
    for (const bytes of this.#held.splice(0)) this.bulkIn.send(bytes);
    await this.#sending;
  }

  protected override onContainer({ type, code, transactionId, payload }: HostContainer): void {
    if (type === TYPE.command) {
      const parameters = wordsOf(payload);
      this.#command = { operationCode: code, transactionId, parameters, dataOut: null };
      if (!OPERATIONS_WITH_DATA.includes(code)) this.#requests.put(this.#command);
    } else if (type === TYPE.data && this.#command) {
      this.#requests.put({ ...this.#command, dataOut: payload });
    }
  }

  protected override onClassRequest(setup: Setup, data: Buffer): Buffer | null {
    const { requestType, request, value } = setup;
    this.classRequests.push(request);
    if (value !== 0 || this.#options.knowsNoRequests) return null;
    if (requestType === 0x21 && request === 0x64 && data.readUInt16LE(0) === 0x4001) {
      this.#isCleaningUp = true;
      this.#cancels.put(data.readUInt32LE(2));
      return Buffer.alloc(0);
    }
    if (requestType === 0x21 && request === 0x66) {
      this.resets.put(true);
      return Buffer.alloc(0);
    }
    if (requestType === 0xa1 && request === 0x67) {
      const code = this.status ?? (this.#isCleaningUp ? BUSY : OK);
      return Buffer.from([4, 0, code & 255, code >> 8]);
    }
    return null;
  }

  #send(bytes: Buffer): void {
    if (this.#cutting === "all at once") this.#held.push(bytes);
    else if (this.#cutting === "byte by byte") this.#sendSlowly(bytes);
    else this.bulkIn.send(bytes);
  }

  /** A short packet ends a transfer, so that single bytes cannot be sent: packets come one by one. */
  #sendSlowly(bytes: Buffer): void {
    this.#sending = this.#sending.then(async () => {
      await new Promise((resolve) => setImmediate(resolve));
      this.bulkIn.send(bytes);
    });
  }
}
