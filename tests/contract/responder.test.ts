// The virtual camera as a host sees it that knows nothing but the published byte layouts: the
// Media Transfer Protocol 1.1 text (appendices D to G) for operations, responses and events, the
// packet layouts of CIPA DC-X005 for PTP/IP. What no readable text confirms is marked there.
import { afterEach, describe, expect, test } from "vitest";
import { toHex } from "../support/hex.ts";
import {
  initCommandRequest,
  RawConnection,
  RawHost,
  rawPacket,
  rawString,
  u16,
  u32,
} from "../support/rawHost.ts";
import {
  startTestCamera,
  TEST_START_UTC_MS,
  type TestCameraOptions,
} from "../support/testCamera.ts";

const OK = 0x2001;
const BUSY = 0x2019;

const open: (() => Promise<void> | void)[] = [];
afterEach(async () => {
  for (const close of open.splice(0).reverse()) await close();
});

async function cameraOnly(options: TestCameraOptions = {}) {
  const test = await startTestCamera(options);
  open.push(() => test.close());
  return test;
}

async function cameraAndHost(options: TestCameraOptions = {}) {
  const test = await cameraOnly(options);
  const host = await RawHost.connectWithSession(test.port);
  open.push(() => host.close());
  return { ...test, host };
}

/** A bulb frame of about this many night seconds; answers the transaction that opened it. */
async function takeBulb(
  { host, clock }: Awaited<ReturnType<typeof cameraAndHost>>,
  seconds: number,
): Promise<number> {
  const id = host.nextTransaction;
  expect((await host.ask(0x101c, [0, 0])).code).toBe(OK);
  const until = clock.monotonicMs() + seconds * 1000;
  await clock.sleepUntil(until as never);
  expect((await host.ask(0x1018, [id])).code).toBe(OK);
  return id;
}

describe("connecting", () => {
  test("both acknowledgements are byte for byte as published", async () => {
    const { port } = await cameraOnly();
    const command = await RawConnection.open(port);
    command.send(initCommandRequest());
    await command.take();
    expect(toHex(command.traffic[1]!.bytes)).toBe(
      "2a 00 00 00 02 00 00 00 01 00 00 00 ff ee dd cc bb aa 99 88 77 66 55 44 33 22 11 00 " +
        "56 00 43 00 61 00 6d 00 00 00 00 00 01 00",
    );
    const events = await RawConnection.open(port);
    events.send(rawPacket(3, u32(1)));
    await events.take();
    expect(toHex(events.traffic[1]!.bytes)).toBe("08 00 00 00 04 00 00 00");
    command.socket.destroy();
  });

  test("a second host is refused with InitFail while the first goes on", async () => {
    const { host, port } = await cameraAndHost();
    const second = await RawConnection.open(port);
    second.send(initCommandRequest("Host-2"));
    const refusal = await second.take();
    expect([refusal.type, refusal.body.readUInt32LE(0)]).toEqual([5, 2]);
    await second.closed();
    expect((await host.ask(0x1004)).code).toBe(OK);
  });

  test("an event connection with an unknown number is refused with InitFail", async () => {
    const { host, port } = await cameraAndHost();
    const stray = await RawConnection.open(port);
    stray.send(rawPacket(3, u32(99)));
    expect((await stray.take()).type).toBe(5);
    await stray.closed();
    expect((await host.ask(0x1004)).code).toBe(OK);
  });

  test("a host may come back once it has gone", async () => {
    const { host, port, reports } = await cameraAndHost();
    host.close();
    await host.command.until(() => reports.some((line) => line.includes("is gone")), "the end");
    const again = await RawHost.connectWithSession(port);
    expect((await again.ask(0x1004)).data?.toString("hex")).toBe("0100000001000100");
    again.close();
  });

  test("the loss of one connection closes the other", async () => {
    const { host } = await cameraAndHost();
    host.events.socket.destroy();
    await host.command.closed();
  });

  test.each([
    ["a length of 4", Buffer.concat([u32(4, 6), Buffer.alloc(8)])],
    ["a length of 2 GiB", u32(0x80000000, 10)],
    ["a request whose parameters are no whole number", u32(19, 6)],
  ])("%s drops the host, and the camera lives on", async (_name, bytes) => {
    const { host, port } = await cameraAndHost();
    host.command.send(bytes);
    await host.command.closed();
    await host.events.closed();
    const again = await RawHost.connectWithSession(port);
    again.close();
  });

  test("a packet of unknown type is skipped", async () => {
    const { host } = await cameraAndHost();
    host.command.send(rawPacket(99, u32(1, 2, 3)));
    expect((await host.ask(0x1004)).code).toBe(OK);
  });

  test("a request cut into single bytes is understood", async () => {
    const { host } = await cameraAndHost();
    for (const byte of rawPacket(6, u32(1), u16(0x1004), u32(1))) {
      host.command.send(Buffer.from([byte]));
      await new Promise(setImmediate);
    }
    expect((await host.answer()).code).toBe(OK);
  });

  test("a probe is answered on either connection", async () => {
    const { host } = await cameraAndHost();
    host.events.send(rawPacket(13));
    expect((await host.events.take()).type).toBe(14);
    host.command.send(rawPacket(13));
    expect((await host.command.take()).type).toBe(14);
  });
});

describe("a host that owes something", () => {
  test("is dropped when a connection never says what it is", async () => {
    const { port } = await cameraOnly({ timing: { firstPacketMs: 30 } });
    await (await RawConnection.open(port)).closed();
  });

  test("is dropped when its event connection never comes, and another may come", async () => {
    const { port } = await cameraOnly({ timing: { eventConnectionMs: 30 } });
    const command = await RawConnection.open(port);
    command.send(initCommandRequest());
    await command.closed();
    (await RawHost.connectWithSession(port)).close();
  });

  test("is asked three times for a sign of life, then dropped", async () => {
    const { host } = await cameraAndHost({ timing: { probeMs: 30 } });
    await host.events.closed();
    await host.command.closed();
    expect(host.events.received.map(({ type }) => type)).toEqual([13, 13, 13]);
  });

  test("stays as long as it answers", async () => {
    const { host } = await cameraAndHost({ timing: { probeMs: 30 } });
    for (let probe = 0; probe < 6; probe += 1) {
      expect((await host.events.take()).type).toBe(13);
      host.events.send(rawPacket(14));
    }
    expect((await host.ask(0x1004)).code).toBe(OK);
  });

  test("hears of an incomplete transfer when its data never comes", async () => {
    const { host } = await cameraAndHost({ timing: { dataInMs: 30 } });
    host.command.send(rawPacket(6, u32(2), u16(0x1016), u32(1, 0x500f)));
    expect((await host.answer()).code).toBe(0x2007);
  });
});

describe("sessions", () => {
  test("GetDeviceInfo answers before a session, everything else does not", async () => {
    const { port } = await cameraOnly();
    const host = await RawHost.connect(port);
    open.push(() => host.close());
    const info = await host.ask(0x1001, [], { transactionId: 0 });
    expect(info.code).toBe(OK);
    expect(info.data!.readUInt16LE(0)).toBe(100);
    expect(info.data!.includes(Buffer.from("Virtual camera\0", "utf16le"))).toBe(true);
    for (const code of [0x1003, 0x1004, 0x1007, 0x100e, 0x101c, 0x1015]) {
      expect((await host.ask(code, [], { transactionId: 0 })).code).toBe(0x2003);
    }
  });

  test("a session is opened once, closed once, and its number must be legal", async () => {
    const { host } = await cameraAndHost();
    const again = await host.ask(0x1002, [7], { transactionId: 0 });
    expect([again.code, ...again.parameters]).toEqual([0x201e, 1]);
    expect((await host.ask(0x1003)).code).toBe(OK);
    expect((await host.ask(0x1003)).code).toBe(0x2003);
    expect((await host.ask(0x1002, [0], { transactionId: 0 })).code).toBe(0x201d);
    expect((await host.ask(0x1002, [0xffffffff], { transactionId: 0 })).code).toBe(0x201d);
    expect((await host.ask(0x1002, [7], { transactionId: 0 })).code).toBe(OK);
  });

  test.each([0, 0xffffffff, 5])("transaction %d after 5 is refused", async (id) => {
    const { host } = await cameraAndHost();
    expect((await host.ask(0x1004, [], { transactionId: 5 })).code).toBe(OK);
    expect((await host.ask(0x1004, [], { transactionId: id })).code).toBe(0x2004);
    expect((await host.ask(0x1004, [], { transactionId: 6 })).code).toBe(OK);
  });

  test("transaction numbers may wrap from 0xFFFFFFFE to 1", async () => {
    const { host } = await cameraAndHost();
    for (const id of [0x70000000, 0xe0000000, 0xfffffffe, 1]) {
      expect((await host.ask(0x1004, [], { transactionId: id })).code).toBe(OK);
    }
  });

  test("an unknown operation, the maker's own or a reserved one, is not supported", async () => {
    const { host } = await cameraAndHost();
    for (const code of [0x9001, 0x101d, 0x1fff, 0x100c]) {
      expect((await host.ask(code)).code).toBe(0x2005);
    }
  });

  test("data of an operation that is not supported is swallowed before the refusal", async () => {
    const { host } = await cameraAndHost();
    expect((await host.ask(0x9016, [], { data: Buffer.alloc(40_000) })).code).toBe(0x2005);
    expect((await host.ask(0x1004)).code).toBe(OK);
  });

  test("a parameter that should not be there is refused unless it is 0", async () => {
    const { host } = await cameraAndHost();
    expect((await host.ask(0x1004, [0, 0])).code).toBe(OK);
    expect((await host.ask(0x1004, [1])).code).toBe(0x2006);
  });
});

describe("the card", () => {
  test("folders, pictures and counts agree, by parent and by format", async () => {
    const all = await cameraAndHost();
    const { host } = all;
    await takeBulb(all, 1);
    const added = await host.eventOf(0x4002);
    const handles = async (...parameters: number[]): Promise<number[]> => {
      const { data } = await host.ask(0x1007, parameters);
      return Array.from({ length: data!.readUInt32LE(0) }, (_, k) => data!.readUInt32LE(4 + 4 * k));
    };
    const [dcim] = await handles(0xffffffff, 0, 0xffffffff);
    const [folder] = await handles(0xffffffff, 0, dcim!);
    expect(await handles(0x00010001, 0, folder!)).toEqual(added.parameters);
    expect(await handles(0xffffffff, 0x3801, 0)).toEqual(added.parameters);
    expect(await handles(0xffffffff, 0x3001, 0)).toEqual([dcim, folder]);
    expect((await host.ask(0x1006, [0xffffffff, 0, 0])).parameters).toEqual([3]);
    const info = await host.ask(0x1008, [folder!]);
    expect(info.data!.readUInt16LE(4)).toBe(0x3001);
    expect(info.data!.readUInt32LE(38)).toBe(dcim);
    expect(info.data!.readUInt16LE(42)).toBe(1);
  });

  test.each([
    ["an unknown store", 0x1005, [0x00020001], 0x2008],
    ["an unknown store for handles", 0x1007, [2, 0, 0], 0x2008],
    ["a format that is no format", 0x1006, [0xffffffff, 0x5001, 0], 0x2016],
    ["an unknown parent", 0x1007, [0xffffffff, 0, 999], 0x2009],
    ["an unknown handle for ObjectInfo", 0x1008, [999], 0x2009],
    ["an unknown handle for a file", 0x1009, [999], 0x2009],
    ["a folder for a file", 0x1009, [1], 0x2009],
    ["a folder for a thumbnail", 0x100a, [1], 0x2010],
    ["an unknown handle for a part", 0x101b, [999, 0, 10], 0x2009],
    ["an unknown handle to delete", 0x100b, [999, 0], 0x2009],
    ["an unknown handle to protect", 0x1012, [999, 1], 0x2009],
    ["a protection that does not exist", 0x1012, [1, 2], 0x201d],
    ["an unknown store to format", 0x100f, [7, 0], 0x2008],
  ])("%s is refused", async (_name, code, parameters, response) => {
    const { host } = await cameraAndHost();
    expect((await host.ask(code, parameters)).code).toBe(response);
  });

  test("a picture is no parent", async () => {
    const all = await cameraAndHost();
    await takeBulb(all, 1);
    const { parameters } = await all.host.eventOf(0x4002);
    expect((await all.host.ask(0x1007, [0xffffffff, 0, parameters[0]!])).code).toBe(0x201a);
  });

  test("a file in pieces is the file, byte for byte, and the last piece is short", async () => {
    const all = await cameraAndHost();
    const { host } = all;
    await takeBulb(all, 1);
    const handle = (await host.eventOf(0x4002)).parameters[0]!;
    const whole = (await host.ask(0x1009, [handle])).data!;
    const info = (await host.ask(0x1008, [handle])).data!;
    expect(info.readUInt32LE(8)).toBe(whole.length);
    const pieces: Buffer[] = [];
    for (let offset = 0; offset < whole.length;) {
      const piece = await host.ask(0x101b, [handle, offset, 1000]);
      expect(piece.parameters).toEqual([piece.data!.length]);
      pieces.push(piece.data!);
      offset += piece.parameters[0]!;
    }
    expect(Buffer.concat(pieces).equals(whole)).toBe(true);
    expect(pieces.at(-1)!.length).toBe(whole.length % 1000 || 1000);
    const tail = await host.ask(0x101b, [handle, whole.length - 5, 0xffffffff]);
    expect(tail.data!.equals(whole.subarray(-5))).toBe(true);
    expect((await host.ask(0x101b, [handle, whole.length + 1, 1])).code).toBe(0x201d);
  });

  test("a thumbnail is a JPEG of the announced size", async () => {
    const all = await cameraAndHost();
    await takeBulb(all, 1);
    const handle = (await all.host.eventOf(0x4002)).parameters[0]!;
    const info = (await all.host.ask(0x1008, [handle])).data!;
    const thumbnail = (await all.host.ask(0x100a, [handle])).data!;
    expect(thumbnail.length).toBe(info.readUInt32LE(14));
    expect([info.readUInt32LE(18), info.readUInt32LE(22)]).toEqual([160, 120]);
    expect(thumbnail.subarray(0, 3).toString("hex")).toBe("ffd8ff");
  });

  test("free space shrinks by a frame and comes back when it is deleted", async () => {
    const all = await cameraAndHost();
    const { host } = all;
    const free = async () => (await host.ask(0x1005, [0x00010001])).data!.readBigUInt64LE(14);
    const before = await free();
    await takeBulb(all, 1);
    const handle = (await host.eventOf(0x4002)).parameters[0]!;
    expect(await free()).toBeLessThan(before);
    expect((await host.ask(0x100b, [handle, 0])).code).toBe(OK);
    expect(await free()).toBe(before);
    expect((await host.ask(0x1008, [handle])).code).toBe(0x2009);
  });

  test("a protected picture stays: alone it is refused, among others the rest goes", async () => {
    const all = await cameraAndHost();
    const { host } = all;
    await takeBulb(all, 1);
    const first = (await host.eventOf(0x4002)).parameters[0]!;
    expect((await host.ask(0x1012, [first, 1])).code).toBe(OK);
    expect((await host.ask(0x100b, [first, 0])).code).toBe(0x200d);
    await host.askUntilReady(0x100e, [0, 0]);
    const second = (await host.eventOf(0x4002)).parameters[0]!;
    expect((await host.ask(0x100b, [0xffffffff, 0])).code).toBe(0x2012);
    expect((await host.ask(0x1008, [second])).code).toBe(0x2009);
    expect((await host.ask(0x1009, [first])).code).toBe(OK);
  });

  test("formatting empties it, and a handle is never used again", async () => {
    const all = await cameraAndHost();
    const { host } = all;
    await takeBulb(all, 1);
    const first = (await host.eventOf(0x4002)).parameters[0]!;
    expect((await host.askUntilReady(0x100f, [0x00010001, 0])).code).toBe(OK);
    expect((await host.ask(0x1006, [0xffffffff, 0x3801, 0])).parameters).toEqual([0]);
    await host.askUntilReady(0x100e, [0, 0]);
    expect((await host.eventOf(0x4002)).parameters[0]).toBeGreaterThan(first);
  });
});

describe("a timed frame", () => {
  test("is announced by ObjectAdded, then CaptureComplete, both of its transaction", async () => {
    const { host, pictures } = await cameraAndHost();
    await host.ask(0x1016, [0x500d], { data: u32(20_000) });
    const id = host.nextTransaction;
    expect((await host.ask(0x100e, [0, 0])).code).toBe(OK);
    const added = await host.event();
    expect([added.code, added.transactionId]).toEqual([0x4002, id]);
    expect(await host.event()).toEqual({ code: 0x400d, transactionId: id, parameters: [id] });
    expect(pictures.orders[0]!.exposure.exposureSeconds).toBe(2);
  });

  test("keeps the camera busy while it is open and for a second after, night time", async () => {
    const { host, clock } = await cameraAndHost({ rate: 20 });
    await host.ask(0x1016, [0x500d], { data: u32(20_000) });
    const before = clock.monotonicMs();
    await host.ask(0x100e, [0, 0]);
    expect((await host.ask(0x100e, [0, 0])).code).toBe(BUSY);
    expect((await host.ask(0x101c, [0, 0])).code).toBe(BUSY);
    expect((await host.ask(0x1016, [0x500f], { data: u16(800) })).code).toBe(BUSY);
    expect((await host.ask(0x100f, [0x00010001, 0])).code).toBe(BUSY);
    expect((await host.ask(0x1015, [0x5001])).code).toBe(OK);
    expect((await host.askUntilReady(0x100e, [0, 0])).code).toBe(OK);
    expect(clock.monotonicMs() - before).toBeGreaterThanOrEqual(3000);
  });

  test.each([
    ["an unknown store", [5, 0], 0x2008],
    ["a format it cannot make", [0, 0x380d], 0x200b],
    ["a code that is no format", [0, 0x1001], 0x2016],
  ])("%s is refused and no frame taken", async (_name, parameters, response) => {
    const { host, camera } = await cameraAndHost();
    expect((await host.ask(0x100e, parameters)).code).toBe(response);
    expect((await host.ask(0x101c, parameters)).code).toBe(response);
    expect(camera.capture.frameCount).toBe(0);
  });

  test("the fourth frame is refused while three wait to become files", async () => {
    const { host, pictures, camera } = await cameraAndHost({ busySeconds: 0 });
    let release = (): void => {};
    pictures.gate = new Promise((resolve) => (release = resolve));
    await host.ask(0x1016, [0x500d], { data: u32(100) });
    for (let frame = 0; frame < 3; frame += 1) {
      expect((await host.askUntilReady(0x100e, [0, 0])).code).toBe(OK);
      await host.command.until(() => camera.capture.exposing === null, "the shutter");
    }
    expect((await host.ask(0x100e, [0, 0])).code).toBe(BUSY);
    release();
    expect((await host.askUntilReady(0x100e, [0, 0])).code).toBe(OK);
  });
});

describe("a bulb frame", () => {
  test("lasts from the answer to the end, is announced, and never completed", async () => {
    const all = await cameraAndHost();
    const { host, pictures, camera } = all;
    const id = await takeBulb(all, 2.5);
    const added = await host.event();
    expect([added.code, added.transactionId]).toEqual([0x4002, id]);
    const { openedMs, closedMs, exposure } = pictures.orders[0]!;
    expect(exposure.exposureSeconds).toBeCloseTo((closedMs - openedMs) / 1000, 9);
    expect(exposure.exposureSeconds).toBeGreaterThanOrEqual(2.5);
    await camera.settle();
    expect((await host.ask(0x1004)).code).toBe(OK);
    expect(host.events.received).toEqual([]);
  });

  test("is ended only by its own number, and only once", async () => {
    const { host } = await cameraAndHost();
    expect((await host.ask(0x1018, [1])).code).toBe(0x2004);
    expect((await host.ask(0x1018, [])).code).toBe(0x201d);
    const id = host.nextTransaction;
    await host.ask(0x101c, [0, 0]);
    expect((await host.ask(0x1018, [id + 40])).code).toBe(0x2004);
    expect((await host.ask(0x1018, [id])).code).toBe(OK);
    expect((await host.ask(0x1018, [id])).code).toBe(0x2018);
  });

  test("left open is ended by the camera at its limit, kept, and then already ended", async () => {
    const { host, pictures } = await cameraAndHost({ bulbLimitSeconds: 3 });
    const id = host.nextTransaction;
    await host.ask(0x101c, [0, 0]);
    expect((await host.eventOf(0x4002)).transactionId).toBe(id);
    expect(pictures.orders[0]!.exposure.exposureSeconds).toBe(3);
    expect((await host.ask(0x1018, [id])).code).toBe(0x2018);
  });

  test("left open by a host that is gone closes by itself and is kept", async () => {
    const { host, port, pictures, camera } = await cameraAndHost({ orphanSeconds: 4 });
    await host.ask(0x101c, [0, 0]);
    host.close();
    await host.command.until(() => pictures.orders.length === 1, "the frame");
    expect(pictures.orders[0]!.exposure.exposureSeconds).toBeGreaterThanOrEqual(4);
    await camera.settle();
    const again = await RawHost.connectWithSession(port);
    expect((await again.ask(0x1006, [0xffffffff, 0x3801, 0])).parameters).toEqual([1]);
    again.close();
  });

  test("cannot be ended from another session", async () => {
    const { host, camera } = await cameraAndHost({ orphanSeconds: 1000 });
    const id = host.nextTransaction;
    await host.ask(0x101c, [0, 0]);
    await host.ask(0x1003);
    await host.ask(0x1002, [2], { transactionId: 0 });
    expect((await host.ask(0x1018, [id], { transactionId: 90 })).code).toBe(0x2004);
    expect(camera.capture.exposing?.transactionId).toBe(id);
  });

  test("is not offered by a camera without bulb", async () => {
    const { host } = await cameraAndHost({ hasBulb: false });
    const operations = (await host.ask(0x1001)).data!.toString("hex");
    expect(operations).not.toContain("1c10");
    expect((await host.ask(0x101c, [0, 0])).code).toBe(0x2005);
  });

  test("is refused outside manual", async () => {
    const { host } = await cameraAndHost({ programMode: "automatic" });
    expect((await host.ask(0x101c, [0, 0])).code).toBe(0x200f);
  });
});

describe("properties", () => {
  test("exposure time is an enumeration from 1/4000 to 30 s in rising order", async () => {
    const { host } = await cameraAndHost();
    const desc = (await host.ask(0x1014, [0x500d])).data!;
    expect(toHex(desc.subarray(0, 5))).toBe("0d 50 06 00 01");
    expect(desc[13]).toBe(2);
    const count = desc.readUInt16LE(14);
    const values = Array.from({ length: count }, (_, k) => desc.readUInt32LE(16 + 4 * k));
    expect(values).toEqual([...new Set(values)].sort((a, b) => a - b));
    expect([values[0], values.at(-1)]).toEqual([2, 300_000]);
    expect(values).toContain(150_000);
    for (const [k, value] of values.slice(1).entries()) {
      if (values[k]! < 20) continue;
      // The customary speeds are rounded: 1/15 to 1/13 is the smallest step, 0.2 stops.
      expect(Math.abs(Math.log2(value / values[k]!) - 1 / 3)).toBeLessThan(0.14);
    }
  });

  test("ISO runs from 100 to 12800 and the battery from 0 to 100", async () => {
    const { host } = await cameraAndHost({ batteryPercent: 87 });
    const iso = (await host.ask(0x1014, [0x500f])).data!;
    const values = Array.from({ length: iso.readUInt16LE(10) }, (_, k) =>
      iso.readUInt16LE(12 + 2 * k),
    );
    expect([values[0], values.at(-1), values.length]).toEqual([100, 12800, 22]);
    expect(toHex((await host.ask(0x1014, [0x5001])).data!)).toBe(
      "01 50 02 00 00 64 57 01 00 64 01",
    );
  });

  test("what is set is what is read, and what the frame is taken with", async () => {
    const { host, pictures } = await cameraAndHost();
    expect((await host.ask(0x1016, [0x500f], { data: u16(3200) })).code).toBe(OK);
    expect((await host.ask(0x1016, [0x5007], { data: u16(400) })).code).toBe(OK);
    expect((await host.ask(0x1015, [0x500f])).data!.readUInt16LE(0)).toBe(3200);
    await host.ask(0x100e, [0, 0]);
    await host.eventOf(0x400d);
    expect(pictures.orders[0]!.exposure).toEqual({ exposureSeconds: 1, iso: 3200, fNumber: 4 });
  });

  test.each([
    ["an unknown property", 0x5004, u16(1), 0x200a],
    ["a code that is no property", 0x1001, u16(1), 0x200a],
    ["the battery", 0x5001, Buffer.from([50]), 0x200f],
    ["too few bytes", 0x500d, u16(10_000), 0x201b],
    ["too many bytes", 0x500f, u32(800), 0x201b],
    ["no bytes", 0x500f, Buffer.alloc(0), 0x201b],
    ["an ISO between two", 0x500f, u16(801), 0x201c],
    ["an exposure of 31 s", 0x500d, u32(310_000), 0x201c],
    ["a date that does not exist", 0x5011, rawString("20270230T000000"), 0x201c],
    ["a string that is cut", 0x5011, Buffer.from([9, 65, 0]), 0x201b],
  ])("setting %s is refused", async (_name, property, data, response) => {
    const { host } = await cameraAndHost();
    expect((await host.ask(0x1016, [property], { data })).code).toBe(response);
  });

  test("reading or resetting an unknown property is refused", async () => {
    const { host } = await cameraAndHost();
    expect((await host.ask(0x1014, [0x5004])).code).toBe(0x200a);
    expect((await host.ask(0x1015, [0xd001])).code).toBe(0x200a);
    expect((await host.ask(0x1017, [0x5004])).code).toBe(0x200a);
    expect((await host.ask(0x1017, [0x5001])).code).toBe(0x200f);
  });

  test("a reset brings the factory's value back, one or all", async () => {
    const { host } = await cameraAndHost();
    const iso = async () => (await host.ask(0x1015, [0x500f])).data!.readUInt16LE(0);
    const factory = await iso();
    await host.ask(0x1016, [0x500f], { data: u16(400) });
    expect((await host.ask(0x1017, [0x500f])).code).toBe(OK);
    expect(await iso()).toBe(factory);
    await host.ask(0x1016, [0x500f], { data: u16(400) });
    expect((await host.ask(0x1017, [0xffffffff])).code).toBe(OK);
    expect(await iso()).toBe(factory);
  });

  test("outside manual the exposure cannot be set, and a change of program says so", async () => {
    const { host } = await cameraAndHost();
    expect((await host.ask(0x1016, [0x500e], { data: u16(2) })).code).toBe(OK);
    const changed = [await host.event(), await host.event(), await host.event()];
    expect(changed.map((event) => event.code)).toEqual([0x4006, 0x4006, 0x4006]);
    expect(changed.flatMap((event) => event.parameters)).toEqual([0x5007, 0x500d, 0x500f]);
    expect((await host.ask(0x1016, [0x500d], { data: u32(10_000) })).code).toBe(0x200f);
    expect((await host.ask(0x1014, [0x500d])).data![4]).toBe(0);
    expect((await host.ask(0x1016, [0x500e], { data: u16(1) })).code).toBe(OK);
    expect((await host.ask(0x1016, [0x500d], { data: u32(10_000) })).code).toBe(OK);
  });

  test("the battery drains with the night and reports every percent", async () => {
    const { host } = await cameraAndHost({ rate: 5000, batteryHours: 2, batteryPercent: 60 });
    const changed = await host.eventOf(0x4006);
    expect(changed.parameters).toEqual([0x5001]);
    expect((await host.ask(0x1015, [0x5001])).data![0]).toBeLessThan(60);
  });

  test("an empty battery switches the camera off", async () => {
    const { host, offReasons } = await cameraAndHost({
      ...{ rate: 5000, batteryHours: 0.1, batteryPercent: 2 },
    });
    await host.command.until(() => offReasons.length > 0, "the end of the battery");
    expect(offReasons).toEqual(["the battery is empty"]);
  });

  test("the clock is wrong by what was asked, and right once it is set", async () => {
    const { host, clock } = await cameraAndHost({ rate: 1, clockDriftSeconds: -95 });
    const offsetMs = async (): Promise<number> => {
      const text = (await host.ask(0x1015, [0x5011])).data!.subarray(1, -2).toString("utf16le");
      const [, y, mo, d, h, mi, s] = /^(....)(..)(..)T(..)(..)(..)\.\d\+0200$/.exec(text)!;
      const wall = Date.UTC(+y!, +mo! - 1, +d!, +h!, +mi!, +s!);
      return wall - 7_200_000 - clock.utcMs();
    };
    expect(Math.abs((await offsetMs()) + 95_000)).toBeLessThan(5000);
    const right = new Date(TEST_START_UTC_MS).toISOString().slice(0, 19).replaceAll(/[-:]/g, "");
    await host.ask(0x1016, [0x5011], { data: rawString(`${right}Z`) });
    expect(Math.abs(await offsetMs())).toBeLessThan(20_000);
  });
});

describe("giving up", () => {
  /** A file of several hundred packets, so that there is a middle to give up in. */
  async function largeFile() {
    const all = await cameraAndHost({ pictureSize: { widthPx: 3000, heightPx: 2000 } });
    await takeBulb(all, 1);
    const handle = (await all.host.eventOf(0x4002)).parameters[0]!;
    return { ...all, handle };
  }

  /** A probe is answered in the order of what came, so that whatever was sent before has been read. */
  async function hasRead(host: RawHost): Promise<void> {
    host.events.send(rawPacket(13));
    expect((await host.events.take()).type).toBe(14);
  }

  test.each(["command", "events"] as const)(
    "a Cancel on the %s connection ends GetObject with TransactionCancelled",
    async (connection) => {
      const { host, handle } = await largeFile();
      host.command.socket.pause();
      const id = host.request(0x1009, [handle]);
      // The camera must read it although nobody reads what it sends.
      host[connection].send(rawPacket(11, u32(id)));
      await hasRead(host);
      host.command.socket.resume();
      const answer = await host.answer();
      expect([answer.code, answer.transactionId]).toEqual([0x201f, id]);
      const whole = (await host.ask(0x1009, [handle])).data!;
      expect(answer.data!.length).toBeLessThan(whole.length);
    },
  );

  test("the protocol's CancelTransaction event does the same", async () => {
    const { host, handle } = await largeFile();
    host.command.socket.pause();
    const id = host.request(0x1009, [handle]);
    host.events.send(rawPacket(8, u16(0x4001), u32(id)));
    await hasRead(host);
    host.command.socket.resume();
    expect((await host.answer()).code).toBe(0x201f);
  });

  test("a probe is answered in the middle of a data phase", async () => {
    const { host, handle } = await largeFile();
    host.command.socket.pause();
    host.request(0x1009, [handle]);
    await hasRead(host);
    host.command.socket.resume();
    expect((await host.answer()).code).toBe(OK);
  });

  test("a Cancel of a transaction that is over, or never was, is ignored", async () => {
    const { host } = await cameraAndHost();
    await host.ask(0x1004);
    host.events.send(rawPacket(11, u32(1)));
    host.events.send(rawPacket(11, u32(4711)));
    expect((await host.ask(0x1004)).code).toBe(OK);
  });

  test("a Cancel in the middle of sending data leaves the property as it was", async () => {
    const { host } = await cameraAndHost();
    const id = host.nextTransaction;
    host.command.send(rawPacket(6, u32(2), u16(0x1016), u32(id, 0x500f)));
    host.command.send(rawPacket(9, u32(id, 2, 0)));
    host.command.send(rawPacket(11, u32(id)));
    expect((await host.answer()).code).toBe(0x201f);
    const next = await host.ask(0x1015, [0x500f], { transactionId: id + 1 });
    expect(next.data!.readUInt16LE(0)).toBe(1600);
  });

  test.each([
    ["fewer bytes than announced", 4, [u16(800)]],
    ["more bytes than announced", 2, [u16(800, 800)]],
  ])("%s are an incomplete transfer", async (_name, announced, pieces) => {
    const { host } = await cameraAndHost();
    const id = host.nextTransaction;
    host.command.send(rawPacket(6, u32(2), u16(0x1016), u32(id, 0x500f)));
    host.command.send(rawPacket(9, u32(id, announced, 0)));
    for (const piece of pieces) host.command.send(rawPacket(12, u32(id), piece));
    expect((await host.answer()).code).toBe(0x2007);
  });

  test("data of unknown length is read to its end", async () => {
    const { host } = await cameraAndHost();
    const id = host.nextTransaction;
    host.command.send(rawPacket(6, u32(2), u16(0x1016), u32(id, 0x500f)));
    host.command.send(rawPacket(9, u32(id, 0xffffffff, 0xffffffff)));
    host.command.send(rawPacket(10, u32(id), u16(800).subarray(0, 1)));
    host.command.send(rawPacket(12, u32(id), u16(800).subarray(1)));
    expect((await host.answer()).code).toBe(OK);
  });
});

describe("faults", () => {
  test("a full card: StoreFull instead of CaptureComplete, then no capture begins", async () => {
    const { host } = await cameraAndHost({ faults: { cardFullAtFrame: 1 } });
    await host.ask(0x100e, [0, 0]);
    await host.eventOf(0x400d);
    const id = host.nextTransaction;
    const { code } = await host.ask(0x100e, [0, 0]);
    // The readout of the first frame may still be running.
    const opened = code === BUSY ? host.nextTransaction : id;
    if (code === BUSY) await host.askUntilReady(0x100e, [0, 0]);
    const full = await host.event();
    expect([full.code, full.parameters]).toEqual([0x400a, [0x00010001]]);
    expect(full.transactionId).toBeGreaterThanOrEqual(opened);
    expect((await host.askUntilReady(0x100e, [0, 0])).code).toBe(0x200c);
    expect((await host.ask(0x101c, [0, 0])).code).toBe(0x200c);
    expect((await host.ask(0x1006, [0xffffffff, 0x3801, 0])).parameters).toEqual([1]);
  });

  test("a small card fills by itself", async () => {
    const { host } = await cameraAndHost({ cardBytes: 100_000, busySeconds: 0 });
    const codes: number[] = [];
    while (codes.at(-1) !== 0x200c && codes.length < 20) {
      codes.push((await host.askUntilReady(0x100e, [0, 0])).code);
      if (codes.at(-1) === OK) await host.eventOf(0x400d);
    }
    expect(codes).toEqual([OK, OK, OK, 0x200c]);
  });

  test("the link breaks at the asked frame, which is kept", async () => {
    const { host, pictures, port } = await cameraAndHost({ faults: { dropLinkAtFrame: 0 } });
    host.request(0x101c, [0, 0]);
    await host.command.closed();
    await host.events.closed();
    await host.command.until(() => pictures.orders.length === 1, "the frame");
    const again = await RawHost.connectWithSession(port);
    again.close();
  });

  test("a lost ObjectAdded leaves the frame on the card", async () => {
    const { host } = await cameraAndHost({ faults: { loseObjectAddedAtFrame: 0 } });
    await host.ask(0x100e, [0, 0]);
    expect((await host.event()).code).toBe(0x400d);
    expect((await host.ask(0x1006, [0xffffffff, 0x3801, 0])).parameters).toEqual([1]);
  });

  test("a damaged file is shorter and has no end", async () => {
    const { host } = await cameraAndHost({ faults: { corruptJpegAtFrame: 0 } });
    await host.ask(0x100e, [0, 0]);
    const handle = (await host.eventOf(0x4002)).parameters[0]!;
    const file = (await host.ask(0x1009, [handle])).data!;
    expect(file.subarray(0, 2).toString("hex")).toBe("ffd8");
    expect(file.subarray(-2).toString("hex")).not.toBe("ffd9");
  });

  test("a camera that is busy for no reason is so in the same calls for the same seed", async () => {
    const run = async (): Promise<number[]> => {
      const { host } = await cameraAndHost({ faults: { busyProbability: 0.5 }, seed: 3 });
      const codes: number[] = [];
      for (let call = 0; call < 12; call += 1) {
        codes.push((await host.ask(0x1016, [0x500f], { data: u16(800) })).code);
      }
      return codes;
    };
    const first = await run();
    expect(new Set(first)).toEqual(new Set([OK, BUSY]));
    expect(await run()).toEqual(first);
  });

  test("PowerDown is answered, then the camera is off", async () => {
    const { host, offReasons } = await cameraAndHost();
    expect((await host.ask(0x1013)).code).toBe(OK);
    await host.command.until(() => offReasons.length > 0, "the end");
    expect(offReasons).toEqual(["switched off by the host"]);
  });

  test("ResetDevice closes the session", async () => {
    const { host } = await cameraAndHost();
    expect((await host.ask(0x1010)).code).toBe(OK);
    expect((await host.ask(0x1004)).code).toBe(0x2003);
  });
});
