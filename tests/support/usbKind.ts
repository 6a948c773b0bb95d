import { UsbTransport } from "../../controller/cameras/usb/usbTransport.ts";
import { FakeLibusbDevice } from "./fakeLibusb.ts";
import type { TransportKind } from "./fakePeer.ts";
import { FakeUsbCamera, type FakeUsbOptions } from "./fakeUsbCamera.ts";

/** A transport over USB and a camera on a bus that is all in this process. */
export async function joinFakeUsb(options: FakeUsbOptions & { readonly cancelMs?: number } = {}) {
  const { cancelMs, ...camera } = options;
  const peer = new FakeUsbCamera(camera);
  const device = new FakeLibusbDevice(peer);
  const transport = new UsbTransport({
    which: null,
    listDevices: () => Promise.resolve([device]),
    ...(cancelMs === undefined ? {} : { cancelMs }),
  });
  await transport.open(5_000);
  return { transport, peer, device, stop: () => transport.close() };
}

/** PTP over USB with a camera that says what suits the test. */
export function usbKind(name: string, camera: FakeUsbOptions): TransportKind {
  return { name, join: (options = {}) => joinFakeUsb({ ...camera, ...options }) };
}
