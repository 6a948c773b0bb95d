import { expect, it, onTestFinished } from "vitest";
import { PtpSession } from "../../../../controller/cameras/ptpSession.ts";
import { UsbTransport } from "../../../../controller/cameras/usb/usbTransport.ts";
import { FakeLibusbDevice } from "../../../support/fakeLibusb.ts";
import { createTestCamera } from "../../../support/testCamera.ts";
import { VirtualCameraOnUsb } from "../../../support/virtualCameraOnUsb.ts";

/** Over USB nobody tells a camera that the program which had its session is dead. */
it("opens a session of its own after a program that was killed in the middle of one", async () => {
  const made = createTestCamera();
  onTestFinished(() => made.close());
  const device = new FakeLibusbDevice(new VirtualCameraOnUsb(made.camera));
  const join = async () => {
    const transport = new UsbTransport({
      ...{ which: null, listDevices: () => Promise.resolve([device]) },
    });
    await transport.open(5_000);
    const session = new PtpSession(transport);
    await session.open();
    return { transport, session };
  };
  const killed = await join();
  for (let asked = 0; asked < 5; asked += 1) await killed.session.getDeviceInfo();
  await killed.transport.close();

  const { transport, session } = await join();
  expect((await session.getDeviceInfo()).model).toBe("Virtual camera");
  await session.close();
  await transport.close();
});
