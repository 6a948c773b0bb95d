// A still camera on USB as the bus sees it: descriptors, pipes, class requests. What answers behind
// the pipes is somebody else's; a test's fake libusb or a kernel through USB/IP is in front of them.
// Sources: USB 2.0 §8.5 and §9.6 for packets and descriptors, MTP 1.1 appendix H for containers.

export type TransferEnd = "done" | "stall" | "gone" | "overflow" | "cancelled";

/** A host's wish to read; it ends at a short packet or when it is full. */
type Request = {
  readonly bytesMax: number;
  readonly complete: (end: TransferEnd, bytes: Buffer) => void;
  readonly parts: Buffer[];
  filled: number;
};

/** A pipe towards the host. What is sent waits until the host reads. */
export class InPipe {
  readonly packetBytes: number;
  #runs: Buffer[] = [];
  #requests: Request[] = [];
  #isHalted = false;
  #isGone = false;

  constructor(packetBytes: number) {
    this.packetBytes = packetBytes;
  }

  /**
   * Sends bytes as packets of their own: all of them full but the last, which may be short. Nothing
   * is added: an empty packet is sent by sending no bytes.
   */
  send(bytes: Uint8Array): void {
    this.#runs.push(Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength));
    this.#pump();
  }

  /** @returns what calls the request back. */
  request(bytesMax: number, complete: Request["complete"]): { cancel(): boolean } {
    const request: Request = { bytesMax, complete, parts: [], filled: 0 };
    this.#requests.push(request);
    this.#pump();
    return {
      cancel: () => {
        if (!this.#requests.includes(request)) return false;
        this.#end(request, "cancelled");
        return true;
      },
    };
  }

  halt(): void {
    this.#isHalted = true;
    this.#pump();
  }

  clearHalt(): void {
    this.#isHalted = false;
    this.#pump();
  }

  /** Throws away what no host has read. */
  flush(): void {
    this.#runs = [];
  }

  vanish(): void {
    this.#isGone = true;
    this.#pump();
  }

  #pump(): void {
    for (let request = this.#requests[0]; request; request = this.#requests[0]) {
      if (this.#isGone) this.#end(request, "gone");
      else if (this.#isHalted) this.#end(request, "stall");
      else if (!this.#fill(request)) return;
    }
  }

  /** @returns whether the request has ended. */
  #fill(request: Request): boolean {
    for (let run = this.#runs[0]; run; run = this.#runs[0]) {
      const room = request.bytesMax - request.filled;
      const packet = Math.min(run.length, this.packetBytes);
      if (packet > room) return this.#end(request, "overflow");
      const count = run.length <= room ? run.length : room - (room % this.packetBytes);
      request.parts.push(run.subarray(0, count));
      request.filled += count;
      const isShort = count === run.length && count % this.packetBytes !== 0;
      const isEmpty = run.length === 0;
      if (count === run.length) this.#runs.shift();
      else this.#runs[0] = run.subarray(count);
      if (isShort || isEmpty || request.filled === request.bytesMax) {
        return this.#end(request, "done");
      }
    }
    return false;
  }

  #end(request: Request, end: TransferEnd): true {
    this.#requests = this.#requests.filter((one) => one !== request);
    const [first] = request.parts;
    const bytes = first && request.parts.length === 1 ? first : Buffer.concat(request.parts);
    request.complete(end, bytes);
    return true;
  }
}

/** A control request's first eight bytes. Source: USB 2.0 §9.3. */
export type Setup = {
  readonly requestType: number;
  readonly request: number;
  readonly value: number;
  readonly index: number;
  readonly length: number;
};

export type UsbIdentity = {
  readonly vendorId: number;
  readonly productId: number;
  readonly manufacturer: string;
  readonly product: string;
  readonly serialNumber: string;
  /** Bulk packets: 64 at full speed, 512 at high speed, 1024 at super speed. */
  readonly packetBytes: number;
  readonly eventPacketBytes: number;
};

/** Invented numbers of the range that is set aside for tests (vendor 0x1209, from memory). */
export const TEST_USB_IDENTITY: UsbIdentity = {
  vendorId: 0x1209,
  productId: 0xca11,
  manufacturer: "Nobody",
  product: "Still camera for tests",
  serialNumber: "TEST0001",
  packetBytes: 512,
  eventPacketBytes: 28,
};

export const ENDPOINTS = { bulkIn: 0x81, bulkOut: 0x02, interruptIn: 0x83 } as const;

/** A whole container that the host sent. */
export type HostContainer = {
  readonly type: number;
  readonly code: number;
  readonly transactionId: number;
  readonly payload: Buffer;
};

/** A device as a bus sees it: who it is, and what it answers. */
export type UsbFunction = {
  readonly identity: Pick<
    UsbIdentity,
    "vendorId" | "productId" | "manufacturer" | "product" | "serialNumber"
  >;
  /** Class, subclass and protocol in the device descriptor; 0: as its interfaces say. */
  readonly deviceClass: readonly [number, number, number];
  /** Descriptors behind the configuration's own, and how many interfaces they describe. */
  readonly interfaces: { readonly count: number; readonly descriptors: readonly number[] };
  inPipe(endpoint: number): InPipe | null;
  /** What the host writes to a bulk pipe. */
  receive(bytes: Buffer): "done" | "stall";
  /** A class request; null: stalled. */
  control(setup: Setup, data: Buffer): Buffer | null;
  clearHalt(endpoint: number): void;
  /** The cable is pulled. */
  vanish(): void;
  onGone(listener: () => void): void;
};

/** An endpoint's descriptor. Source: USB 2.0 §9.6.6. */
export function endpointDescriptor(
  address: number,
  kind: "bulk" | "interrupt",
  packetBytes: number,
  interval = 0,
): readonly number[] {
  const size = [packetBytes & 255, packetBytes >> 8];
  return [7, 5, address, kind === "bulk" ? 2 : 3, ...size, interval];
}

/** One still camera; subclasses say what it does. */
export abstract class StillImageFunction implements UsbFunction {
  readonly deviceClass = [0, 0, 0] as const;
  readonly identity: UsbIdentity;
  readonly bulkIn: InPipe;
  readonly interruptIn: InPipe;
  isOutHalted = false;
  #isGone = false;
  #received: Buffer[] = [];
  #receivedBytes = 0;
  readonly #onGone: (() => void)[] = [];

  constructor(identity: Partial<UsbIdentity> = {}) {
    this.identity = { ...TEST_USB_IDENTITY, ...identity };
    this.bulkIn = new InPipe(this.identity.packetBytes);
    this.interruptIn = new InPipe(this.identity.eventPacketBytes);
  }

  protected abstract onContainer(container: HostContainer): void;
  /** A class request; null: stalled. */
  protected abstract onClassRequest(setup: Setup, data: Buffer): Buffer | null;

  get interfaces(): UsbFunction["interfaces"] {
    const { packetBytes, eventPacketBytes } = this.identity;
    return {
      count: 1,
      descriptors: [
        ...[9, 4, 0, 0, 3, 6, 1, 1, 0],
        ...endpointDescriptor(ENDPOINTS.bulkIn, "bulk", packetBytes),
        ...endpointDescriptor(ENDPOINTS.bulkOut, "bulk", packetBytes),
        ...endpointDescriptor(ENDPOINTS.interruptIn, "interrupt", eventPacketBytes, 6),
      ],
    };
  }

  get isGone(): boolean {
    return this.#isGone;
  }

  onGone(listener: () => void): void {
    this.#onGone.push(listener);
  }

  /** The cable is pulled. */
  vanish(): void {
    if (this.#isGone) return;
    this.#isGone = true;
    this.bulkIn.vanish();
    this.interruptIn.vanish();
    for (const listener of this.#onGone) listener();
  }

  inPipe(endpoint: number): InPipe | null {
    if (endpoint === ENDPOINTS.bulkIn) return this.bulkIn;
    return endpoint === ENDPOINTS.interruptIn ? this.interruptIn : null;
  }

  /** What the host writes to the bulk pipe, in transfers of any size. */
  receive(bytes: Buffer): "done" | "stall" {
    if (this.isOutHalted) return "stall";
    this.#received.push(Buffer.from(bytes));
    this.#receivedBytes += bytes.length;
    this.#cutContainers();
    return this.isOutHalted ? "stall" : "done";
  }

  /** A control request to the interface; null: stalled. */
  control(setup: Setup, data: Buffer): Buffer | null {
    return this.onClassRequest(setup, data);
  }

  clearHalt(endpoint: number): void {
    if (endpoint === ENDPOINTS.bulkOut) this.isOutHalted = false;
    else this.inPipe(endpoint)?.clearHalt();
  }

  /** Stalls both bulk pipes, as a camera that breaks off does. */
  stall(): void {
    this.isOutHalted = true;
    this.bulkIn.halt();
  }

  forgetReceived(): void {
    this.#received = [];
    this.#receivedBytes = 0;
  }

  /** Containers end by their length, so that an empty packet behind them means nothing. */
  #cutContainers(): void {
    while (this.#receivedBytes >= 12) {
      const all = Buffer.concat(this.#received);
      const containerBytes = all.readUInt32LE(0);
      this.#received = [all];
      if (all.length < containerBytes) return;
      this.#received = [all.subarray(containerBytes)];
      this.#receivedBytes = all.length - containerBytes;
      this.onContainer({
        type: all.readUInt16LE(4),
        code: all.readUInt16LE(6),
        transactionId: all.readUInt32LE(8),
        payload: all.subarray(12, containerBytes),
      });
    }
  }
}

/** The bytes of a container: length, type, code, transaction, payload. */
export function containerBytes(
  type: number,
  code: number,
  transactionId: number,
  payload: Uint8Array = new Uint8Array(),
): Buffer {
  const header = containerHeader(type, code, transactionId, 12 + payload.length);
  return Buffer.concat([header, payload]);
}

/** A header that announces any length, right or wrong. */
export function containerHeader(
  type: number,
  code: number,
  transactionId: number,
  length: number,
): Buffer {
  const header = Buffer.alloc(12);
  header.writeUInt32LE(length, 0);
  header.writeUInt16LE(type, 4);
  header.writeUInt16LE(code, 6);
  header.writeUInt32LE(transactionId >>> 0, 8);
  return header;
}

export function words(values: readonly number[]): Buffer {
  const bytes = Buffer.alloc(4 * values.length);
  for (const [index, value] of values.entries()) bytes.writeUInt32LE(value >>> 0, 4 * index);
  return bytes;
}

export function wordsOf(bytes: Buffer): number[] {
  const values: number[] = [];
  for (let at = 0; at + 4 <= bytes.length; at += 4) values.push(bytes.readUInt32LE(at));
  return values;
}
