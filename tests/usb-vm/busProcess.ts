// Holds the emulated devices on the kernel's bus. A process of its own: calls into libusb may hold
// the one that makes them, and its device must answer all the same.
import { FakeUsbCamera, type FakeUsbOptions } from "../support/fakeUsbCamera.ts";
import { createTestCamera, type TestCameraOptions } from "../support/testCamera.ts";
import { HidRelay } from "../support/hidRelay.ts";
import { SerialAdapter } from "../support/serialAdapter.ts";
import type { UsbFunction } from "../support/usbFunction.ts";
import { VirtualCameraOnUsb } from "../support/virtualCameraOnUsb.ts";
import { attachToKernel, type Attached } from "./usbIp.ts";

/** What is asked of the bus; every call is answered under its number. */
export type BusCall =
  | { readonly number: number; readonly kind: "plugFake"; readonly options: FakeUsbOptions }
  | {
      readonly number: number;
      readonly kind: "plugVirtual";
      readonly serialNumber: string;
      readonly options: TestCameraOptions;
    }
  /** Pulls a virtual camera's plug and puts it in again after a while. */
  | {
      readonly number: number;
      readonly kind: "replug";
      readonly device: number;
      readonly afterMs: number;
    }
  | {
      readonly number: number;
      readonly kind: "plugSerial";
      readonly serialNumber: string;
      readonly hasBreak: boolean;
    }
  | { readonly number: number; readonly kind: "plugRelay"; readonly serialNumber: string }
  /** How the contact of a relay has moved. */
  | { readonly number: number; readonly kind: "contact"; readonly device: number }
  /** How the control lines of a serial adapter have moved. */
  | { readonly number: number; readonly kind: "lines"; readonly device: number }
  | { readonly number: number; readonly kind: "unplug"; readonly device: number }
  | { readonly number: number; readonly kind: "orders"; readonly device: number }
  | {
      readonly number: number;
      readonly kind: "peer";
      readonly device: number;
      readonly method: string;
      readonly args: readonly unknown[];
    };

export type BusAnswer = {
  readonly number: number;
  readonly result?: unknown;
  readonly error?: string;
};

type Device = {
  readonly usb: UsbFunction;
  readonly attached: Attached;
  readonly virtual: ReturnType<typeof createTestCamera> | null;
  readonly serialNumber: string;
};

const devices: Device[] = [];

async function plug(
  usb: UsbFunction,
  virtual: Device["virtual"],
  serialNumber: string,
): Promise<number> {
  const attached = await attachToKernel(usb, devices.length + 2);
  devices.push({ usb, attached, virtual, serialNumber });
  return devices.length - 1;
}

async function carryOut(call: BusCall): Promise<unknown> {
  switch (call.kind) {
    case "plugFake":
      return await plug(new FakeUsbCamera(call.options), null, call.options.serialNumber ?? "");
    case "plugVirtual": {
      const made = createTestCamera(call.options);
      const identity = { serialNumber: call.serialNumber, product: "Virtual camera" };
      const still = new VirtualCameraOnUsb(made.camera, identity);
      return await plug(still, made, call.serialNumber);
    }
    case "plugSerial": {
      const { serialNumber } = call;
      return await plug(new SerialAdapter(call), null, serialNumber);
    }
    case "plugRelay":
      return await plug(new HidRelay(call.serialNumber), null, call.serialNumber);
    case "contact":
      return (devices[call.device]!.usb as HidRelay).movements;
    case "lines":
      return (devices[call.device]!.usb as SerialAdapter).movements;
    case "unplug":
      return devices[call.device]!.attached.detach();
    case "replug": {
      const { attached, virtual, serialNumber } = devices[call.device]!;
      attached.detach();
      await new Promise((resolve) => setTimeout(resolve, call.afterMs));
      const still = new VirtualCameraOnUsb(virtual!.camera, { serialNumber });
      return await plug(still, virtual, serialNumber);
    }
    case "orders":
      return devices[call.device]!.virtual!.pictures.orders.map(({ exposure }) => exposure);
    case "peer": {
      const peer = devices[call.device]!.usb as unknown as Record<
        string,
        (...args: readonly unknown[]) => unknown
      >;
      return await peer[call.method]!(...call.args);
    }
  }
}

process.on("message", (call: BusCall) => {
  carryOut(call).then(
    (result) => process.send!({ number: call.number, result } satisfies BusAnswer),
    (thrown: unknown) =>
      process.send!({ number: call.number, error: String(thrown) } satisfies BusAnswer),
  );
});
process.on("disconnect", () => process.exit());
process.send!({ number: 0 } satisfies BusAnswer);
