import { describe, expect, it } from "vitest";
import { camerasOnUsb } from "../../../controller/cameras/offers.ts";
import { LIBUSB_ERROR } from "../../../controller/cameras/usb/libusbDevice.ts";
import { NightError } from "../../../core/errors.ts";
import { FakeLibusbDevice, type FakeLibusbOptions } from "../../support/fakeLibusb.ts";
import { FakeUsbCamera } from "../../support/fakeUsbCamera.ts";

function device(options: FakeLibusbOptions = {}): FakeLibusbDevice {
  return new FakeLibusbDevice(new FakeUsbCamera({ serialNumber: "A1" }), options);
}

describe("cameras that are offered on USB", () => {
  it("are named by what they report and addressed by their serial number", async () => {
    const camera = device();
    const { cameras, usbRefusal } = await camerasOnUsb(() => Promise.resolve([camera]));
    expect(usbRefusal).toBeNull();
    expect(cameras).toEqual([{ address: "usb:A1", whyNot: null, label: "Camera at USB 1-2" }]);
    expect(camera.isOpen).toBe(false);
  });

  it("say why they cannot be used", async () => {
    const camera = device({ openErrno: LIBUSB_ERROR.access });
    const { cameras } = await camerasOnUsb(() => Promise.resolve([camera]));
    expect(cameras).toEqual([
      {
        ...{ address: "usb:1-2", label: "Camera at USB 1-2" },
        whyNot: expect.stringMatching(/USB 1-2/) as string,
      },
    ]);
  });

  it("are never guessed from a device of another class, which stays closed", async () => {
    const camera = device({ interfaceClass: [255, 0, 0] });
    const { cameras } = await camerasOnUsb(() => Promise.resolve([camera]));
    expect(cameras).toEqual([]);
    expect(camera.isOpen).toBe(false);
  });

  it("are none, with a sentence, where USB cannot be used", async () => {
    const found = await camerasOnUsb(() =>
      Promise.reject(new NightError("camera.unsupported", "This computer's USB cannot be used.")),
    );
    expect(found).toEqual({ cameras: [], usbRefusal: "This computer's USB cannot be used." });
  });
});
