import { describe, expect, it } from "vitest";
import { LIBUSB_ERROR } from "../../../../controller/cameras/usb/libusbDevice.ts";
import { chooseUsbCamera, findUsbCameras } from "../../../../controller/cameras/usb/findCameras.ts";
import { claimError } from "../../../../controller/cameras/usb/usbErrors.ts";
import { UsbTransport } from "../../../../controller/cameras/usb/usbTransport.ts";
import {
  FakeLibusbDevice,
  libusbError,
  type FakeLibusbOptions,
} from "../../../support/fakeLibusb.ts";
import { FakeUsbCamera } from "../../../support/fakeUsbCamera.ts";

function device(serialNumber: string, options: FakeLibusbOptions = {}): FakeLibusbDevice {
  return new FakeLibusbDevice(new FakeUsbCamera({ serialNumber }), options);
}

describe("cameras on the bus", () => {
  it("are recognised by interface class 6/1/1 alone", () => {
    const devices = [
      device("A"),
      device("B", { interfaceClass: [255, 255, 255] }),
      device("C", { interfaceClass: [6, 1, 2] }),
      device("D", { interfaceClass: [8, 6, 80] }),
    ];
    expect(findUsbCameras(devices).map((camera) => camera.device)).toEqual([devices[0]]);
  });

  it("have the place of their bus and sockets, and their three endpoints", () => {
    const [camera] = findUsbCameras([device("A", { busNumber: 3, portNumbers: [2, 4] })]);
    expect(camera).toMatchObject({
      ...{ place: "USB 3-2.4", bulkIn: 0x81, bulkOut: 0x02, interruptIn: 0x83 },
    });
  });

  it("the only one is meant when none is named", async () => {
    const only = device("A");
    const other = device("B", { interfaceClass: [3, 0, 0] });
    expect((await chooseUsbCamera([other, only], null)).device).toBe(only);
  });

  it("one of two must be named, and both are reported with place and serial number", async () => {
    const devices = [device("A1"), device("B2", { portNumbers: [5] })];
    await expect(chooseUsbCamera(devices, null)).rejects.toThrow(
      "There are 2 cameras on USB; say which with --camera usb:PLACE or usb:SERIAL: 1-2 (serial A1), 1-5 (serial B2).",
    );
  });

  it("are found by serial number and by place", async () => {
    const devices = [device("A1"), device("B2", { portNumbers: [5] })];
    expect((await chooseUsbCamera(devices, "B2")).device).toBe(devices[1]);
    expect((await chooseUsbCamera(devices, "1-2")).device).toBe(devices[0]);
    expect(devices.map(({ isOpen }) => isOpen)).toEqual([false, false]);
  });

  it("none there, or none of that name, is said with what to look at", async () => {
    await expect(chooseUsbCamera([], null)).rejects.toMatchObject({ code: "camera.unreachable" });
    await expect(chooseUsbCamera([device("A1")], "ZZ")).rejects.toThrow(
      /There is no camera ZZ on USB; check that it is switched on/,
    );
  });

  it("one that may not be opened is reported when the named one is not among the others", async () => {
    const devices = [device("A1"), device("B2", { openErrno: LIBUSB_ERROR.access })];
    await expect(chooseUsbCamera(devices, "B2")).rejects.toMatchObject({ code: "camera.refused" });
    expect((await chooseUsbCamera(devices, "A1")).device).toBe(devices[0]);
  });
});

describe("a camera that something else holds", () => {
  it.each([
    ["linux", LIBUSB_ERROR.access, "camera.refused", /70-nattvakt\.rules/],
    ["linux", LIBUSB_ERROR.busy, "camera.busy", /eject it in the file manager/],
    ["darwin", LIBUSB_ERROR.access, "camera.refused", /picture import/],
    ["darwin", LIBUSB_ERROR.busy, "camera.busy", /picture import/],
    ["win32", LIBUSB_ERROR.notSupported, "camera.refused", /WinUSB driver/],
    ["win32", LIBUSB_ERROR.access, "camera.refused", /WinUSB driver/],
    ["win32", LIBUSB_ERROR.busy, "camera.busy", /close programs that import pictures/],
    ["linux", LIBUSB_ERROR.noDevice, "camera.unreachable", /unplugged or fell asleep/],
    ["linux", LIBUSB_ERROR.io, "camera.unreachable", /another cable or socket/],
  ] as const)("on %s, error %d: %s, and what to do", (platform, errno, code, words) => {
    const error = claimError(libusbError(errno), "USB 1-2", platform);
    expect(error.code).toBe(code);
    expect(error.message).toMatch(words);
    // One sentence.
    expect(error.message.match(/\.(\s|$)/g)).toHaveLength(1);
  });

  it("by this very thread is not taken from itself, not even to read its serial number", async () => {
    const shared = [device("A1"), device("B2", { portNumbers: [5] })];
    const listDevices = () => Promise.resolve(shared);
    const first = new UsbTransport({ which: "A1", listDevices });
    await first.open(1_000);
    const second = new UsbTransport({ which: "A1", listDevices });
    await expect(second.open(1_000)).rejects.toMatchObject({ code: "camera.busy" });
    expect((await chooseUsbCamera(shared, "B2")).device).toBe(shared[1]);
    expect([shared[0]!.isOpen, shared[0]!.isClaimed]).toEqual([true, true]);
    await first.close();
    expect(shared[0]!.isOpen).toBe(false);
  });

  it("is released again", async () => {
    const held = device("A", { claimErrno: LIBUSB_ERROR.busy });
    const transport = new UsbTransport({
      ...{ which: null, listDevices: () => Promise.resolve([held]) },
    });
    await expect(transport.open(1_000)).rejects.toMatchObject({ code: "camera.busy" });
    expect(held.isOpen).toBe(false);
  });
});
