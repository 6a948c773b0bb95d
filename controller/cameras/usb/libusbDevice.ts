import { importNative } from "../../nativePackages.ts";
/**
 * What is used of a device of the `usb` package, in the package's own shape, so that tests can hand
 * in a device of their own.
 */
export type LibusbDevice = {
  readonly busNumber: number;
  readonly deviceAddress: number;
  /** The way from the root hub; missing where the platform does not tell. */
  readonly portNumbers?: readonly number[];
  readonly deviceDescriptor: {
    readonly idVendor: number;
    readonly idProduct: number;
    /** Index of the serial number's string; 0: none. */
    readonly iSerialNumber: number;
    /** Index of the product name's string; 0 or missing: none. */
    readonly iProduct?: number;
  };
  /** Undefined while the device is not configured. */
  readonly configDescriptor:
    { readonly interfaces: readonly (readonly LibusbInterfaceDescriptor[])[] } | undefined;
  timeout: number;
  /** There while the device is open; every thread has device objects of its own. */
  readonly interfaces?: unknown;
  open(): void;
  close(): void;
  interface(interfaceNumber: number): LibusbInterface;
  controlTransfer(
    requestType: number,
    request: number,
    value: number,
    index: number,
    dataOrLength: number | Buffer,
    callback: (error: Error | undefined, data: Buffer | number | undefined) => void,
  ): unknown;
  getStringDescriptor(index: number, callback: (error?: Error, text?: string) => void): void;
};

type LibusbInterfaceDescriptor = {
  readonly bInterfaceNumber: number;
  readonly bAlternateSetting: number;
  readonly bInterfaceClass: number;
  readonly bInterfaceSubClass: number;
  readonly bInterfaceProtocol: number;
  readonly endpoints: readonly {
    readonly bEndpointAddress: number;
    readonly bmAttributes: number;
    readonly wMaxPacketSize: number;
  }[];
};

export type LibusbInterface = {
  readonly endpoints: readonly LibusbEndpoint[];
  isKernelDriverActive(): boolean;
  detachKernelDriver(): void;
  claim(): void;
  release(callback: (error?: Error) => void): void;
};

export type LibusbEndpoint = {
  readonly address: number;
  readonly descriptor: { readonly wMaxPacketSize: number };
  makeTransfer(
    timeoutMs: number,
    callback: (error: Error | undefined, buffer: Buffer, actualLength: number) => void,
  ): LibusbTransfer;
  clearHalt(callback: (error?: Error) => void): void;
};

export type LibusbTransfer = { submit(buffer: Buffer): unknown; cancel(): boolean };

/** How a transfer ended. Source: libusb's `libusb_transfer_status`. */
export const TRANSFER_STATUS = {
  error: 1,
  timedOut: 2,
  cancelled: 3,
  stall: 4,
  noDevice: 5,
  overflow: 6,
} as const;

/** What a call answered. Source: libusb's `libusb_error`. */
export const LIBUSB_ERROR = {
  io: -1,
  access: -3,
  noDevice: -4,
  notFound: -5,
  busy: -6,
  timeout: -7,
  overflow: -8,
  pipe: -9,
  notSupported: -12,
} as const;

/** libusb's number of an error; null for errors of another origin. */
export function errnoOf(thrown: unknown): number | null {
  const errno = (thrown as { errno?: unknown } | null)?.errno;
  return typeof errno === "number" ? errno : null;
}

/**
 * The devices on this computer's USB. The package is only loaded when somebody asks: a camera on the
 * network needs no USB library.
 */
export async function listLibusbDevices(): Promise<readonly LibusbDevice[]> {
  const { getDeviceList } = await importNative("usb", () => import("usb"));
  return getDeviceList() as unknown as readonly LibusbDevice[];
}
