// libusb's side of an emulated camera: devices, interfaces, endpoints and transfers that behave as
// the `usb` package's do, callbacks on a later turn of the event loop included.
import {
  LIBUSB_ERROR,
  TRANSFER_STATUS,
  type LibusbDevice,
  type LibusbEndpoint,
  type LibusbInterface,
  type LibusbTransfer,
} from "../../controller/cameras/usb/libusbDevice.ts";
import { ENDPOINTS, type StillImageFunction, type TransferEnd } from "./usbFunction.ts";

const STATUS_OF: Record<Exclude<TransferEnd, "done">, number> = {
  stall: TRANSFER_STATUS.stall,
  gone: TRANSFER_STATUS.noDevice,
  overflow: TRANSFER_STATUS.overflow,
  cancelled: TRANSFER_STATUS.cancelled,
};

export type FakeLibusbOptions = {
  readonly busNumber?: number;
  readonly portNumbers?: readonly number[];
  /** libusb's answer to opening. */
  readonly openErrno?: number;
  /** libusb's answer to claiming. */
  readonly claimErrno?: number;
  readonly interfaceClass?: readonly [number, number, number];
  readonly hasKernelDriver?: boolean;
};

/** A device in the shape of the `usb` package's. */
export class FakeLibusbDevice implements LibusbDevice {
  readonly busNumber: number;
  readonly deviceAddress = 7;
  readonly portNumbers: readonly number[];
  readonly deviceDescriptor: LibusbDevice["deviceDescriptor"];
  readonly configDescriptor: NonNullable<LibusbDevice["configDescriptor"]>;
  timeout = 1000;
  isOpen = false;
  isClaimed = false;
  hasKernelDriver: boolean;
  /** Transfers that were submitted and have not come back. */
  pendingCount = 0;
  readonly #function: StillImageFunction;
  readonly #options: FakeLibusbOptions;

  constructor(still: StillImageFunction, options: FakeLibusbOptions = {}) {
    this.#function = still;
    this.#options = options;
    this.busNumber = options.busNumber ?? 1;
    this.portNumbers = options.portNumbers ?? [2];
    this.hasKernelDriver = options.hasKernelDriver ?? false;
    const { vendorId, productId, packetBytes, eventPacketBytes } = still.identity;
    this.deviceDescriptor = { idVendor: vendorId, idProduct: productId, iSerialNumber: 3 };
    const [bInterfaceClass, bInterfaceSubClass, bInterfaceProtocol] = options.interfaceClass ?? [
      6, 1, 1,
    ];
    const endpoint = (bEndpointAddress: number, bmAttributes: number, wMaxPacketSize: number) => ({
      ...{ bEndpointAddress, bmAttributes, wMaxPacketSize },
    });
    this.configDescriptor = {
      interfaces: [
        [
          {
            ...{ bInterfaceNumber: 0, bAlternateSetting: 0 },
            ...{ bInterfaceClass, bInterfaceSubClass, bInterfaceProtocol },
            endpoints: [
              endpoint(ENDPOINTS.bulkIn, 2, packetBytes),
              endpoint(ENDPOINTS.bulkOut, 2, packetBytes),
              endpoint(ENDPOINTS.interruptIn, 3, eventPacketBytes),
            ],
          },
        ],
      ],
    };
  }

  get interfaces(): unknown {
    return this.isOpen ? [] : undefined;
  }

  open(): void {
    if (this.#function.isGone) throw libusbError(LIBUSB_ERROR.noDevice);
    if (this.#options.openErrno !== undefined) throw libusbError(this.#options.openErrno);
    this.isOpen = true;
  }

  close(): void {
    if (this.pendingCount > 0) throw new Error("Can't close device with a pending request");
    this.isOpen = false;
  }

  interface(): LibusbInterface {
    if (!this.isOpen) throw new Error("Device must be open before searching for interfaces");
    const { packetBytes, eventPacketBytes } = this.#function.identity;
    return {
      endpoints: [
        this.#endpoint(ENDPOINTS.bulkIn, packetBytes),
        this.#endpoint(ENDPOINTS.bulkOut, packetBytes),
        this.#endpoint(ENDPOINTS.interruptIn, eventPacketBytes),
      ],
      isKernelDriverActive: () => this.hasKernelDriver,
      detachKernelDriver: () => {
        this.hasKernelDriver = false;
      },
      claim: () => {
        if (this.#options.claimErrno !== undefined) throw libusbError(this.#options.claimErrno);
        if (this.hasKernelDriver || this.isClaimed) throw libusbError(LIBUSB_ERROR.busy);
        this.isClaimed = true;
      },
      release: (callback) => {
        this.isClaimed = false;
        setImmediate(callback);
      },
    };
  }

  controlTransfer(
    requestType: number,
    request: number,
    value: number,
    index: number,
    dataOrLength: number | Buffer,
    callback: (error: Error | undefined, data: Buffer | number | undefined) => void,
  ): void {
    const isIn = typeof dataOrLength === "number";
    const length = isIn ? dataOrLength : dataOrLength.length;
    const setup = { requestType, request, value, index, length };
    this.pendingCount += 1;
    setImmediate(() => {
      this.pendingCount -= 1;
      if (this.#function.isGone) return callback(libusbError(TRANSFER_STATUS.noDevice), undefined);
      const answer = this.#function.control(setup, isIn ? Buffer.alloc(0) : dataOrLength);
      if (answer === null) callback(libusbError(TRANSFER_STATUS.stall), undefined);
      else callback(undefined, isIn ? answer.subarray(0, length) : length);
    });
  }

  getStringDescriptor(index: number, callback: (error?: Error, text?: string) => void): void {
    const { manufacturer, product, serialNumber } = this.#function.identity;
    setImmediate(() => callback(undefined, [manufacturer, product, serialNumber][index - 1]));
  }

  #endpoint(address: number, wMaxPacketSize: number): LibusbEndpoint {
    return {
      address,
      descriptor: { wMaxPacketSize },
      makeTransfer: (_timeoutMs, callback) => this.#transfer(address, callback),
      clearHalt: (callback) => {
        setImmediate(() => {
          this.#function.clearHalt(address);
          callback();
        });
      },
    };
  }

  #transfer(
    address: number,
    callback: (error: Error | undefined, buffer: Buffer, actualLength: number) => void,
  ): LibusbTransfer {
    let request: { cancel(): boolean } | null = null;
    const finish = (end: TransferEnd, buffer: Buffer, count: number): void => {
      setImmediate(() => {
        this.pendingCount -= 1;
        const error = end === "done" ? undefined : libusbError(STATUS_OF[end]);
        callback(error, buffer, count);
      });
    };
    return {
      submit: (buffer) => {
        if (this.#function.isGone) throw libusbError(LIBUSB_ERROR.noDevice);
        this.pendingCount += 1;
        const pipe = this.#function.inPipe(address);
        if (pipe === null) {
          const end = this.#function.receive(buffer);
          return finish(end, buffer, end === "done" ? buffer.length : 0);
        }
        request = pipe.request(buffer.length, (end, bytes) => {
          bytes.copy(buffer);
          finish(end, buffer, bytes.length);
        });
      },
      cancel: () => request?.cancel() ?? false,
    };
  }
}

/** An error as the package makes them. */
export function libusbError(errno: number): Error {
  return Object.assign(new Error(`libusb error ${errno}`), { errno });
}
