// QEMU's own emulated camera: a responder that nobody here has written.
import { createHash } from "node:crypto";
import { readdirSync, readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { afterEach, describe, expect, it } from "vitest";
import { listLibusbDevices } from "../../controller/cameras/usb/libusbDevice.ts";
import { PtpSession } from "../../controller/cameras/ptpSession.ts";
import { chooseUsbCamera, findUsbCameras } from "../../controller/cameras/usb/findCameras.ts";
import type { UsbTransport } from "../../controller/cameras/usb/usbTransport.ts";
import type { NightError } from "../../core/errors.ts";
import { decodeHandles } from "../../core/ptp/datasets/handles.ts";
import { FORMATS } from "../../core/ptp/formats.ts";
import { ALL } from "../../core/ptp/ids.ts";
import { OPERATIONS } from "../../core/ptp/operations.ts";
import { createMailbox } from "../support/fakePeer.ts";
import { openWhenThere } from "./bus.ts";

const CAMERA_DIR = process.env["NATTVAKT_VM_CAMERA_DIR"]!;
const MONITOR = "/dev/virtio-ports/monitor";

let transport: UsbTransport | null = null;
afterEach(async () => await transport?.close());

async function openSession(): Promise<PtpSession> {
  transport = await openWhenThere(null);
  const session = new PtpSession(transport);
  await session.open();
  return session;
}

async function childrenOf(session: PtpSession, parent: number): Promise<number[]> {
  const { data } = await session.run(OPERATIONS.GetObjectHandles, [ALL, 0, parent]);
  return [...decodeHandles(data)];
}

function digest(bytes: Uint8Array): string {
  return createHash("sha256").update(bytes).digest("hex");
}

describe("an independent camera", () => {
  it("is found by its interface alone and says what it is", async () => {
    const cameras = findUsbCameras(await listLibusbDevices());
    expect(cameras).toHaveLength(1);
    expect(cameras[0]!.place).toMatch(/^USB \d+-\d/);
    const session = await openSession();
    const info = await session.getDeviceInfo();
    expect(info.manufacturer).not.toBe("");
    expect(info.operationsSupported).toContain(OPERATIONS.GetObject.code);
  });

  it("is read whole: every file of every size, whole and in pieces, byte for byte", async () => {
    const session = await openSession();
    const info = await session.getDeviceInfo();
    const [storageId] = await session.getStorageIds();
    expect((await session.getStorageInfo(storageId!)).maxCapacityBytes).toBeGreaterThan(0n);
    const read = new Map<string, string>();
    // It knows a folder's content only once it was asked for it: folder by folder, then.
    for (const handles = await childrenOf(session, ALL); handles.length > 0; handles.shift()) {
      const handle = handles[0]!;
      const object = await session.getObjectInfo(handle);
      if (object.objectFormat === FORMATS.Association) {
        handles.push(...(await childrenOf(session, handle)));
        continue;
      }
      const bytes = await session.getObject(handle);
      expect(bytes.length).toBe(object.objectCompressedSize);
      read.set(object.filename, digest(bytes));
      if (!info.operationsSupported.includes(OPERATIONS.GetPartialObject.code)) continue;
      if (bytes.length === 0) continue;
      const middle = { offset: Math.floor(bytes.length / 2), bytes: 65_536 };
      const piece = await session.getPartialObject(handle, middle);
      expect(digest(piece)).toBe(
        digest(bytes.subarray(middle.offset, middle.offset + middle.bytes)),
      );
    }
    const folder = join(CAMERA_DIR, "DCIM", "100NIGHT");
    const there = readdirSync(folder).map((name) => [
      ...[name, digest(readFileSync(join(folder, name)))],
    ]);
    expect([...read].sort()).toEqual(there.sort());
    expect(there.length).toBeGreaterThan(6);
    await session.close();
  });

  it("refuses what it does not know, and goes on", async () => {
    const session = await openSession();
    await expect(session.getObjectInfo(0x7777)).rejects.toMatchObject({ code: "ptp.response" });
    await expect(session.initiateCapture()).rejects.toMatchObject({ code: "ptp.response" });
    expect((await session.getStorageIds()).length).toBeGreaterThan(0);
    await session.close();
  });

  it("is missed at once when it is pulled, and found again when it is plugged in", async () => {
    const session = await openSession();
    await session.getStorageIds();
    const lost = createMailbox<NightError>();
    transport!.onLost((error) => lost.put(error));
    writeFileSync(MONITOR, "device_del camera\n");
    expect((await lost.take()).code).toBe("camera.gone");
    await expect(session.getStorageIds()).rejects.toMatchObject({ code: "camera.gone" });
    await transport!.close();
    await expect
      .poll(async () => findUsbCameras(await listLibusbDevices()).length, { timeout: 20_000 })
      .toBe(0);
    await expect(chooseUsbCamera(await listLibusbDevices(), null)).rejects.toMatchObject({
      code: "camera.unreachable",
    });
    writeFileSync(
      MONITOR,
      `device_add usb-mtp,bus=bus.0,id=camera,rootdir=${CAMERA_DIR},readonly=on,desc=card\n`,
    );
    const again = await openSession();
    expect((await again.getStorageIds()).length).toBeGreaterThan(0);
    await again.close();
  });
});
