// Who may use a camera on this kernel's bus, and frames taken over it by the session alone.
import { spawnSync } from "node:child_process";
import { statSync } from "node:fs";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { listLibusbDevices } from "../../controller/cameras/usb/libusbDevice.ts";
import { PtpSession } from "../../controller/cameras/ptpSession.ts";
import { findUsbCameras, readSerial } from "../../controller/cameras/usb/findCameras.ts";
import { EVENTS } from "../../core/ptp/events.ts";
import { createMailbox } from "../support/fakePeer.ts";
import { Bus, openWhenThere } from "./bus.ts";

let bus: Bus;
beforeAll(async () => {
  bus = await Bus.start();
});
afterAll(async () => await bus.stop());

describe("who may use a camera", () => {
  it("is given by the rule: the group, and the seat", async () => {
    await bus.plugVirtualAndGreet("RULE0001");
    const cameras = findUsbCameras(await listLibusbDevices());
    const serials = [];
    for (const camera of cameras) serials.push(await readSerial(camera));
    expect(serials).toContain("RULE0001");
    for (const { device } of cameras) {
      const name = (value: number): string => String(value).padStart(3, "0");
      const file = `/dev/bus/usb/${name(device.busNumber)}/${name(device.deviceAddress)}`;
      expect(statSync(file).mode & 0o777).toBe(0o660);
      const query = ["info", "--query=property", `--name=${file}`];
      const { stdout } = spawnSync("udevadm", query, { encoding: "utf8" });
      expect(stdout).toMatch(/^CURRENT_TAGS=.*:uaccess:/m);
    }
    expect(cameras.length).toBeGreaterThan(1);
  });

  /** Another program, as another user where one is named, tries to open the camera. */
  const openElsewhere = (serialNumber: string, user: { uid?: number; gid?: number } = {}): string =>
    spawnSync(process.execPath, ["--import", "tsx", "tests/usb-vm/openOnce.ts", serialNumber], {
      ...{ encoding: "utf8", env: { ...process.env, HOME: "/tmp" }, ...user },
    }).stdout;

  it("is said in one sentence to somebody who may not", () => {
    expect(openElsewhere("RULE0001", { uid: 65_534, gid: 65_534 })).toMatch(
      /^camera\.refused: The system does not let you use the camera at USB/,
    );
  });

  it("is said to the second program that wants it, and the first goes on", async () => {
    const first = await openWhenThere("RULE0001");
    expect(openElsewhere("RULE0001")).toMatch(/^camera\.busy: Another program holds the camera/);
    const session = new PtpSession(first);
    await session.open();
    expect((await session.getDeviceInfo()).model).toBe("Virtual camera");
    await session.close();
    await first.close();
  });
});

describe("the virtual camera on USB", () => {
  it("takes a bulb frame, announces it, and hands it over whole and in pieces", async () => {
    const device = await bus.plugVirtualAndGreet("FRAME001");
    const transport = await openWhenThere("FRAME001");
    const added = createMailbox<number>();
    transport.onEvent(({ eventCode, parameters }) => {
      if (eventCode === EVENTS.ObjectAdded) added.put(parameters[0]!);
    });
    const session = new PtpSession(transport);
    await session.open();
    const openingId = session.upcomingTransactionId;
    await session.initiateOpenCapture();
    await new Promise((resolve) => setTimeout(resolve, 500));
    await session.terminateOpenCapture(openingId);
    const handle = await added.take();
    const whole = await session.getObject(handle, { busyMsMax: 5_000 });
    expect([...whole.subarray(0, 2)]).toEqual([0xff, 0xd8]);
    const half = Math.floor(whole.length / 2);
    const pieces = [
      await session.getPartialObject(handle, { offset: 0, bytes: half }),
      await session.getPartialObject(handle, { offset: half, bytes: whole.length }),
    ];
    expect(Buffer.compare(Buffer.concat(pieces), whole)).toBe(0);
    expect((await bus.orders(device))[0]!.exposureSeconds).toBeGreaterThan(0.4);
    await session.close();
    await transport.close();
  });
});
