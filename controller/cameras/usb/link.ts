import { EVENTS } from "../../../core/ptp/events.ts";
import { realMs } from "../../timing/clock.ts";
import {
  errnoOf,
  LIBUSB_ERROR,
  TRANSFER_STATUS,
  type LibusbEndpoint,
  type LibusbInterface,
  type LibusbTransfer,
} from "./libusbDevice.ts";
import type { UsbCamera } from "./findCameras.ts";

/** Class requests of a still camera. Source: MTP 1.1 and the device stacks that implement it. */
const REQUESTS = { cancel: 0x64, reset: 0x66, status: 0x67 } as const;
const TO_INTERFACE = 0x21;
const FROM_INTERFACE = 0xa1;
/** The status may list endpoints behind its code. */
const STATUS_BYTES_MAX = 64;
const CONTROL_MS = 1_000;
/** How long closing waits for transfers that were called back. */
const CALL_BACK_MS = 1_000;
/** Stalls of the event pipe in a row before it counts as dead. */
const EVENT_STALLS_MAX = 5;

/** How a transfer ended other than well. */
type UsbTrouble = "stall" | "cancelled" | "timeout" | "gone" | "overflow" | "failed";

export class UsbTransferError extends Error {
  readonly trouble: UsbTrouble;

  constructor(trouble: UsbTrouble, options?: ErrorOptions) {
    super(`the transfer ended: ${trouble}`, options);
    this.trouble = trouble;
  }
}

/** What came with one transfer, and the real time at which it was there. */
export type UsbRead = { readonly bytes: Uint8Array; readonly atMs: number };

/**
 * One claimed still-image interface: its three pipes and its class requests.
 *
 * Every transfer has a timer of its own that calls it back: libusb's own timeouts were seen to end a
 * read a minute late.
 */
export class UsbLink {
  readonly packetBytes: number;
  readonly #camera: UsbCamera;
  readonly #interface: LibusbInterface;
  readonly #bulkIn: LibusbEndpoint;
  readonly #bulkOut: LibusbEndpoint;
  readonly #interruptIn: LibusbEndpoint;
  readonly #pending = new Map<LibusbTransfer, Promise<void>>();
  #reading: LibusbTransfer | null = null;
  #writing: LibusbTransfer | null = null;
  #isClosed = false;

  /** Opens the device and claims its interface. @throws whatever libusb says. */
  constructor(camera: UsbCamera) {
    this.#camera = camera;
    const { device } = camera;
    if (device.interfaces !== undefined) {
      throw Object.assign(new Error("open already"), { errno: LIBUSB_ERROR.busy });
    }
    device.open();
    try {
      this.#interface = device.interface(camera.interfaceNumber);
      releaseDriver(this.#interface);
      this.#interface.claim();
    } catch (thrown) {
      device.close();
      throw thrown;
    }
    device.timeout = CONTROL_MS;
    this.#bulkIn = this.#endpoint(camera.bulkIn);
    this.#bulkOut = this.#endpoint(camera.bulkOut);
    this.#interruptIn = this.#endpoint(camera.interruptIn);
    this.packetBytes = packetBytesOf(this.#bulkIn);
  }

  /**
   * Reads until a short packet or until `bytesMax` are there.
   * @param bytesMax  A multiple of the packet, or a camera could send more than fits.
   * @param room  Where to put them, `bytesMax` long; null: in a place of their own.
   */
  async read(
    bytesMax: number,
    timeoutMs: number | null,
    room: Uint8Array | null = null,
  ): Promise<UsbRead> {
    const buffer = room ? asBuffer(room) : Buffer.allocUnsafeSlow(bytesMax);
    const count = await this.#transfer(this.#bulkIn, buffer, timeoutMs);
    return { bytes: buffer.subarray(0, count), atMs: realMs() };
  }

  async write(bytes: Uint8Array, timeoutMs: number | null): Promise<void> {
    const count = await this.#transfer(this.#bulkOut, asBuffer(bytes), timeoutMs);
    if (count < bytes.byteLength) throw new UsbTransferError("failed");
  }

  /** Calls the running read back: it ends as `cancelled`, unless it was done already. */
  callBackRead(): void {
    this.#reading?.cancel();
  }

  /** The same for the running write. */
  callBackWrite(): void {
    this.#writing?.cancel();
  }

  /**
   * Reads events from now on, packet by packet, so that none waits for a second to fill a buffer.
   * @param onEnd  The pipe is dead, for good.
   */
  listen(onPacket: (read: UsbRead) => void, onEnd: (error: UsbTransferError) => void): void {
    void this.#listen(onPacket).catch((thrown: unknown) => {
      if (!this.#isClosed) onEnd(asTransferError(thrown));
    });
  }

  /** Asks the camera to break this transaction off. */
  async cancel(transactionId: number): Promise<void> {
    const data = Buffer.alloc(6);
    // The code of the event of that name. Source: as `REQUESTS`.
    data.writeUInt16LE(EVENTS.CancelTransaction, 0);
    data.writeUInt32LE(transactionId, 2);
    await this.#control(TO_INTERFACE, REQUESTS.cancel, data);
  }

  /** The response code that stands for the camera's state; null when it cannot say. */
  async readStatus(): Promise<number | null> {
    const answer = await this.#control(FROM_INTERFACE, REQUESTS.status, STATUS_BYTES_MAX).catch(
      (error: UsbTransferError) => {
        if (error.trouble === "timeout") return null;
        throw error;
      },
    );
    // Its length field is not to be trusted: one stack fills it with the size of a pointer.
    return answer !== null && answer.length >= 4 ? answer.readUInt16LE(2) : null;
  }

  /** The last resort short of the plug: the camera drops what it does and closes its sessions. */
  async reset(): Promise<void> {
    await this.#control(TO_INTERFACE, REQUESTS.reset, Buffer.alloc(0));
  }

  /** Ends a stall of both bulk pipes; a pipe that was not stalled takes no harm. */
  async clearHalts(): Promise<void> {
    for (const endpoint of [this.#bulkIn, this.#bulkOut]) {
      await new Promise<void>((resolve, reject) =>
        endpoint.clearHalt((error) => (error ? reject(asTransferError(error)) : resolve())),
      );
    }
  }

  /** Calls everything back, gives the interface free and closes the device; never throws. */
  async close(): Promise<void> {
    if (this.#isClosed) return;
    this.#isClosed = true;
    for (const transfer of this.#pending.keys()) transfer.cancel();
    await within(CALL_BACK_MS, Promise.all(this.#pending.values()));
    await within(
      CALL_BACK_MS,
      new Promise<void>((resolve) => {
        try {
          // An unplugged camera has nothing left to release.
          this.#interface.release(() => resolve());
        } catch {
          resolve();
        }
      }),
    );
    try {
      this.#camera.device.close();
    } catch {
      // Gone already, or a transfer never came back: the process's end frees the rest.
      return;
    }
  }

  async #listen(onPacket: (read: UsbRead) => void): Promise<void> {
    let stalls = 0;
    const bytesMax = packetBytesOf(this.#interruptIn);
    while (!this.#isClosed) {
      const buffer = Buffer.allocUnsafeSlow(bytesMax);
      try {
        const count = await this.#transfer(this.#interruptIn, buffer, null);
        stalls = 0;
        onPacket({ bytes: buffer.subarray(0, count), atMs: realMs() });
      } catch (thrown) {
        stalls += 1;
        const isStall = asTransferError(thrown).trouble === "stall";
        if (!isStall || stalls > EVENT_STALLS_MAX) throw thrown;
        await new Promise<void>((resolve, reject) =>
          this.#interruptIn.clearHalt((error) => (error ? reject(error) : resolve())),
        );
      }
    }
  }

  /** One transfer, with a timer of our own; resolves with the bytes that went. */
  #transfer(endpoint: LibusbEndpoint, buffer: Buffer, timeoutMs: number | null): Promise<number> {
    if (this.#isClosed) return Promise.reject(new UsbTransferError("gone"));
    return new Promise((resolve, reject) => {
      let isLate = false;
      let settled = (): void => undefined;
      const transfer = endpoint.makeTransfer(0, (error, _buffer, count) => {
        clearTimeout(timer);
        this.#pending.delete(transfer);
        if (this.#reading === transfer) this.#reading = null;
        if (this.#writing === transfer) this.#writing = null;
        settled();
        if (!error) return resolve(count);
        const { trouble } = asTransferError(error);
        const seen = isLate && trouble === "cancelled" ? "timeout" : trouble;
        reject(new UsbTransferError(seen, { cause: error }));
      });
      try {
        transfer.submit(buffer);
      } catch (thrown) {
        return reject(asTransferError(thrown));
      }
      this.#pending.set(transfer, new Promise((done) => (settled = done)));
      if (endpoint === this.#bulkIn) this.#reading = transfer;
      if (endpoint === this.#bulkOut) this.#writing = transfer;
      const timer =
        timeoutMs === null
          ? undefined
          : setTimeout(
              () => {
                isLate = true;
                transfer.cancel();
              },
              Math.max(0, timeoutMs),
            );
    });
  }

  /**
   * A class request; null when the camera does not know it. One that is never answered is not
   * waited for: it ends when the device does.
   */
  #control(requestType: number, request: number, data: number | Buffer): Promise<Buffer | null> {
    const { device, interfaceNumber } = this.#camera;
    return new Promise((resolve, reject) => {
      const timer = setTimeout(() => reject(new UsbTransferError("timeout")), CONTROL_MS);
      const fail = (thrown: unknown): void => {
        clearTimeout(timer);
        const error = asTransferError(thrown);
        if (error.trouble === "stall") resolve(null);
        else reject(error);
      };
      try {
        device.controlTransfer(requestType, request, 0, interfaceNumber, data, (error, answer) => {
          if (error) return fail(error);
          clearTimeout(timer);
          resolve(Buffer.isBuffer(answer) ? answer : Buffer.alloc(0));
        });
      } catch (thrown) {
        fail(thrown);
      }
    });
  }

  #endpoint(address: number): LibusbEndpoint {
    const endpoint = this.#interface.endpoints.find((one) => one.address === address);
    if (endpoint) return endpoint;
    throw new Error("the interface lost an endpoint");
  }
}

/** The same bytes, as the `usb` package wants them. */
function asBuffer({ buffer, byteOffset, byteLength }: Uint8Array): Buffer {
  return Buffer.from(buffer, byteOffset, byteLength);
}

/** Linux puts no driver on still cameras, but a kernel may; elsewhere nobody can be sent away. */
function releaseDriver(still: LibusbInterface): void {
  if (hasDriver(still)) still.detachKernelDriver();
}

function hasDriver(still: LibusbInterface): boolean {
  try {
    return still.isKernelDriverActive();
  } catch {
    return false;
  }
}

/** The low eleven bits; the others count packets a microframe. Source: USB 2.0 §9.6.6. */
function packetBytesOf(endpoint: LibusbEndpoint): number {
  return Math.max(8, endpoint.descriptor.wMaxPacketSize & 0x7ff);
}

function asTransferError(thrown: unknown): UsbTransferError {
  if (thrown instanceof UsbTransferError) return thrown;
  return new UsbTransferError(troubleOf(errnoOf(thrown)), { cause: thrown });
}

function troubleOf(errno: number | null): UsbTrouble {
  switch (errno) {
    case TRANSFER_STATUS.stall:
    case LIBUSB_ERROR.pipe:
      return "stall";
    case TRANSFER_STATUS.cancelled:
      return "cancelled";
    case TRANSFER_STATUS.timedOut:
    case LIBUSB_ERROR.timeout:
      return "timeout";
    case TRANSFER_STATUS.noDevice:
    case LIBUSB_ERROR.noDevice:
      return "gone";
    case TRANSFER_STATUS.overflow:
    case LIBUSB_ERROR.overflow:
      return "overflow";
    default:
      return "failed";
  }
}

async function within(timeoutMs: number, work: Promise<unknown>): Promise<void> {
  let timer: NodeJS.Timeout | undefined;
  const late = new Promise<void>((resolve) => (timer = setTimeout(resolve, timeoutMs)));
  await Promise.race([work, late]);
  clearTimeout(timer);
}
