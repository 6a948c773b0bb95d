import { describe, expect, it } from "vitest";
import type { TransportEvent } from "../../../../controller/cameras/transport.ts";
import { UsbTransport } from "../../../../controller/cameras/usb/usbTransport.ts";
import type { NightError } from "../../../../core/errors.ts";
import { FakeLibusbDevice } from "../../../support/fakeLibusb.ts";
import { createMailbox } from "../../../support/fakePeer.ts";
import { FakeUsbCamera, type FakeUsbOptions } from "../../../support/fakeUsbCamera.ts";
import { fromHex, toHex } from "../../../support/hex.ts";
import {
  containerBytes,
  containerHeader,
  StillImageFunction,
  type HostContainer,
} from "../../../support/usbFunction.ts";
import { joinFakeUsb } from "../../../support/usbKind.ts";

const OK = 0x2001;
const GET_OBJECT = 0x1009;

/** Asks for an object and collects what comes. */
async function collect(
  transport: UsbTransport,
  transactionId: number,
  options: { readonly timeoutMs?: number } = {},
) {
  const chunks: Uint8Array[] = [];
  const answer = await transport.transact(
    { operationCode: GET_OBJECT, transactionId, parameters: [1], dataOut: null },
    { timeoutMs: 5_000, ...options, data: { take: (chunk) => chunks.push(chunk) } },
  );
  return { answer, data: Buffer.concat(chunks) };
}

function pattern(bytes: number): Buffer {
  return Buffer.from(Array.from({ length: bytes }, (_, index) => (index * 7) & 255));
}

describe("what goes over the wire", () => {
  it("is the published OpenSession, 16 bytes, byte for byte", async () => {
    const sent: Buffer[] = [];
    const { transport, peer, stop } = await joinFakeUsb();
    const receive = peer.receive.bind(peer);
    peer.receive = (bytes) => {
      sent.push(Buffer.from(bytes));
      return receive(bytes);
    };
    const answered = transport.transact(
      { operationCode: 0x1002, transactionId: 0, parameters: [1], dataOut: null },
      { timeoutMs: 5_000 },
    );
    await peer.nextRequest();
    // Source: MTP 1.1 appendix H layouts, computed by hand.
    peer.sendBytes(fromHex("0c 00 00 00 03 00 01 20 00 00 00 00"));
    expect((await answered).responseCode).toBe(OK);
    expect(sent.map(toHex)).toEqual(["10 00 00 00 01 00 02 10 00 00 00 00 01 00 00 00"]);
    await stop();
  });

  it.each([
    ["5 bytes", 5, ["11 00 00 00 02 00 16 10 07 00 00 00 00 07 0e 15 1c"]],
    ["500 bytes, which fill a packet", 500, [null, ""]],
  ])("ends a data phase of %s with a short packet", async (_name, bytes, expected) => {
    const sent: Buffer[] = [];
    const { transport, peer, stop } = await joinFakeUsb();
    const receive = peer.receive.bind(peer);
    peer.receive = (transfer) => {
      sent.push(Buffer.from(transfer));
      return receive(transfer);
    };
    const answered = transport.transact(
      {
        ...{ operationCode: 0x1016, transactionId: 7, parameters: [0x500d] },
        dataOut: pattern(bytes),
      },
      { timeoutMs: 5_000 },
    );
    await peer.nextRequest();
    await new Promise(setImmediate);
    peer.respond(7, OK);
    await answered;
    const data = sent.slice(1);
    expect(data).toHaveLength(expected.length);
    for (const [index, hex] of expected.entries()) {
      if (hex !== null) expect(toHex(data[index]!)).toBe(hex);
    }
    await stop();
  });

  it("has data headers apart once the camera was seen to send them so", async () => {
    const { transport, peer, stop } = await joinFakeUsb({ splitsHeaders: true });
    const collected = collect(transport, 1);
    await peer.nextRequest();
    peer.startData(1, 3);
    peer.endData(1, Uint8Array.of(1, 2, 3));
    peer.respond(1, OK);
    expect([...(await collected).data]).toEqual([1, 2, 3]);
    const sizes: number[] = [];
    const receive = peer.receive.bind(peer);
    peer.receive = (transfer) => {
      sizes.push(transfer.length);
      return receive(transfer);
    };
    const answered = transport.transact(
      { operationCode: 0x1016, transactionId: 2, parameters: [0x500d], dataOut: pattern(4) },
      { timeoutMs: 5_000 },
    );
    await peer.nextRequest();
    peer.respond(2, OK);
    await answered;
    expect(sizes).toEqual([16, 12, 4]);
    await stop();
  });
});

describe("data that ends with a full packet", () => {
  const CASES: readonly [string, FakeUsbOptions, number][] = [
    ["500 bytes and an empty packet", {}, 500],
    ["500 bytes and no empty packet", { skipsEmptyPackets: true }, 500],
    ["16372 bytes, a whole first read", {}, 16_372],
    ["16372 bytes and no empty packet", { skipsEmptyPackets: true }, 16_372],
    ["1 MiB − 12 and no empty packet", { skipsEmptyPackets: true }, (1 << 20) - 12],
    ["540672 bytes after a split header", { splitsHeaders: true }, 540_672],
    [
      "540672 bytes after a split header, no empty packet",
      { splitsHeaders: true, skipsEmptyPackets: true },
      540_672,
    ],
  ];
  it.each(CASES)("%s: comes whole, and so does the next", async (_name, options, bytes) => {
    const { transport, peer, stop } = await joinFakeUsb(options);
    for (const id of [1, 2]) {
      const collected = collect(transport, id);
      await peer.nextRequest();
      peer.startData(id, bytes);
      peer.endData(id, pattern(bytes));
      peer.respond(id, OK);
      const { answer, data } = await collected;
      expect(answer).toMatchObject({ responseCode: OK, dataBytes: bytes, isDataComplete: true });
      expect(data.equals(pattern(bytes))).toBe(true);
    }
    await stop();
  });

  it("of unknown length ends at the empty packet", async () => {
    const { transport, peer, stop } = await joinFakeUsb();
    const collected = collect(transport, 1);
    await peer.nextRequest();
    peer.startData(1, null);
    peer.endData(1, pattern(1_012));
    peer.respond(1, OK);
    const { answer, data } = await collected;
    expect(data.equals(pattern(1_012))).toBe(true);
    expect(answer.isDataComplete).toBe(true);
    await stop();
  });
});

describe("a camera that answers oddly", () => {
  it("announces 100 bytes in a header apart and then only answers: nothing is made up", async () => {
    const { transport, peer, stop } = await joinFakeUsb();
    const collected = collect(transport, 1);
    await peer.nextRequest();
    peer.sendBytes(containerHeader(2, GET_OBJECT, 1, 112));
    peer.respond(1, 0x2002);
    const { answer, data } = await collected;
    expect(answer).toMatchObject({ responseCode: 0x2002, isDataComplete: false });
    expect(data).toHaveLength(0);
    await stop();
  });

  it("sends an empty packet before its answer", async () => {
    const { transport, peer, stop } = await joinFakeUsb();
    const collected = collect(transport, 1);
    await peer.nextRequest();
    peer.sendBytes(new Uint8Array());
    peer.respond(1, OK);
    expect((await collected).answer.responseCode).toBe(OK);
    await stop();
  });

  it.each([
    ["11 bytes", "0c 00 00 00 03 00 01 20 01 00 00"],
    ["a length of 3", "03 00 00 00 03 00 01 20 01 00 00 00"],
    ["type 9", "0c 00 00 00 09 00 01 20 01 00 00 00"],
    ["a command", "0c 00 00 00 01 00 01 20 01 00 00 00"],
    ["an answer longer than it is", "10 00 00 00 03 00 01 20 01 00 00 00"],
    ["an answer and a byte", "0c 00 00 00 03 00 01 20 01 00 00 00 00"],
  ])("%s: the link is given up", async (_name, hex) => {
    const { transport, peer, device } = await joinFakeUsb();
    const lost = createMailbox<NightError>();
    transport.onLost((error) => lost.put(error));
    const collected = collect(transport, 1);
    await peer.nextRequest();
    peer.sendBytes(fromHex(hex));
    if (hex.endsWith("01 00 00 00 00")) {
      // What follows an answer shows when the next one is read.
      await collected;
      const next = collect(transport, 2);
      await peer.nextRequest();
      peer.respond(2, OK);
      await expect(next).rejects.toMatchObject({ code: "camera.gone" });
    } else {
      await expect(collected).rejects.toMatchObject({ code: "camera.gone" });
    }
    expect((await lost.take()).code).toBe("camera.gone");
    await transport.close();
    expect(device.isClaimed).toBe(false);
  });
});

describe("breaking off", () => {
  it("a stall of both pipes ends the transaction alone; the halts are cleared", async () => {
    const { transport, peer, stop } = await joinFakeUsb();
    const collected = collect(transport, 1);
    await peer.nextRequest();
    peer.stall();
    await expect(collected).rejects.toMatchObject({ code: "ptp.cancelled" });
    expect(peer.isOutHalted).toBe(false);
    const next = collect(transport, 2);
    await peer.nextRequest();
    peer.respond(2, OK);
    expect((await next).answer.responseCode).toBe(OK);
    await stop();
  });

  it("a stall at the command itself is a refusal, and the next command goes through", async () => {
    const { transport, peer, stop } = await joinFakeUsb();
    peer.stall();
    await expect(collect(transport, 1)).rejects.toMatchObject({ code: "ptp.cancelled" });
    const next = collect(transport, 2);
    expect((await peer.nextRequest()).transactionId).toBe(2);
    peer.respond(2, OK);
    expect((await next).answer.responseCode).toBe(OK);
    await stop();
  });

  it("a camera that is silent after a cancel and says that it is ready is taken at its word", async () => {
    const { transport, peer, stop } = await joinFakeUsb();
    const collected = collect(transport, 4, { timeoutMs: 20 });
    await peer.nextRequest();
    await peer.nextCancel();
    peer.status = OK;
    await expect(collected).rejects.toMatchObject({ code: "ptp.timeout" });
    const next = collect(transport, 5);
    await peer.nextRequest();
    peer.respond(5, OK);
    expect((await next).answer.responseCode).toBe(OK);
    await stop();
  });

  it("a status of TransactionCancelled makes the host clear both pipes first", async () => {
    const { transport, peer, stop } = await joinFakeUsb();
    const collected = collect(transport, 4, { timeoutMs: 20 });
    await peer.nextRequest();
    await peer.nextCancel();
    peer.status = 0x201f;
    peer.stall();
    await expect.poll(() => peer.isOutHalted).toBe(false);
    peer.status = OK;
    await expect(collected).rejects.toMatchObject({ code: "ptp.timeout" });
    await stop();
  });

  it("a camera that never gets ready is reset and given up", async () => {
    const { transport, peer } = await joinFakeUsb({ cancelMs: 40 });
    const lost = createMailbox<NightError>();
    transport.onLost((error) => lost.put(error));
    const collected = collect(transport, 4, { timeoutMs: 20 });
    await peer.nextRequest();
    await peer.resets.take();
    await expect(collected).rejects.toMatchObject({ code: "camera.gone" });
    expect((await lost.take()).details["why"]).toMatch(/reset/);
    await transport.close();
  });

  it("a camera without class requests is waited for until it answers by itself", async () => {
    const { transport, peer, stop } = await joinFakeUsb({ knowsNoRequests: true });
    const collected = collect(transport, 4, { timeoutMs: 10 });
    await peer.nextRequest();
    // The status at opening, then the cancel and how it went: neither is known to the camera.
    await expect.poll(() => peer.classRequests).toEqual([0x67, 0x64, 0x67]);
    peer.startData(4, 4);
    peer.endData(4, pattern(4));
    peer.respond(4, OK);
    await expect(collected).rejects.toMatchObject({ code: "ptp.timeout" });
    await stop();
  });

  it("the silence of a camera without class requests is no end: it is waited for until it is reset", async () => {
    const { transport, peer } = await joinFakeUsb({ knowsNoRequests: true, cancelMs: 100 });
    const collected = collect(transport, 4, { timeoutMs: 10 });
    await peer.nextRequest();
    await expect(collected).rejects.toMatchObject({ code: "camera.gone" });
    expect(peer.classRequests).toEqual([0x67, 0x64, 0x67, 0x66]);
    await transport.close();
  });

  it("an event CancelTransaction ends the running transaction", async () => {
    const { transport, peer, stop } = await joinFakeUsb();
    const collected = collect(transport, 4);
    await peer.nextRequest();
    peer.event(0x4001, 4);
    await expect(collected).rejects.toMatchObject({ code: "ptp.cancelled" });
    await stop();
  });
});

describe("events", () => {
  it("of 24 bytes come together from packets of 8, and garbage costs only itself", async () => {
    const { transport, peer, stop } = await joinFakeUsb({ eventPacketBytes: 8 });
    const events = createMailbox<TransportEvent>();
    transport.onEvent((event) => events.put(event));
    peer.interruptIn.send(fromHex("01 02 03"));
    peer.interruptIn.send(fromHex("ff ff ff ff ff ff ff ff ff ff ff ff ff"));
    peer.event(0x4002, 3, [0x80000001, 2, 3]);
    expect(await events.take()).toMatchObject({
      ...{ eventCode: 0x4002, transactionId: 3, parameters: [0x80000001, 2, 3] },
    });
    await stop();
  });

  it("go on after a stall of their pipe", async () => {
    const { transport, peer, stop } = await joinFakeUsb();
    const events = createMailbox<TransportEvent>();
    transport.onEvent((event) => events.put(event));
    peer.interruptIn.halt();
    peer.event(0x4002, 3, [7]);
    expect((await events.take()).parameters).toEqual([7]);
    await stop();
  });

  it("are 16 bytes as published: ObjectAdded of 0x80000001 in transaction 3", async () => {
    const { transport, peer, stop } = await joinFakeUsb();
    const events = createMailbox<TransportEvent>();
    transport.onEvent((event) => events.put(event));
    peer.interruptIn.send(fromHex("10 00 00 00 04 00 02 40 03 00 00 00 01 00 00 80"));
    expect(await events.take()).toMatchObject({
      ...{ eventCode: 0x4002, transactionId: 3, parameters: [0x80000001] },
    });
    await stop();
  });
});

describe("opening and closing", () => {
  it("swallows what a killed program left in the pipe", async () => {
    const peer = new FakeUsbCamera();
    peer.bulkIn.send(containerBytes(2, GET_OBJECT, 99, pattern(100_000)));
    peer.bulkIn.send(containerBytes(3, OK, 99));
    const device = new FakeLibusbDevice(peer);
    const transport = new UsbTransport({
      ...{ which: null, listDevices: () => Promise.resolve([device]) },
    });
    await transport.open(5_000);
    const collected = collect(transport, 1);
    await peer.nextRequest();
    peer.respond(1, OK);
    expect((await collected).answer.responseCode).toBe(OK);
    await transport.close();
  });

  it("calls every transfer back before it closes, so that the camera is free again", async () => {
    const { transport, device, stop } = await joinFakeUsb();
    void collect(transport, 1).catch(() => undefined);
    await new Promise(setImmediate);
    await stop();
    expect([device.pendingCount, device.isClaimed, device.isOpen]).toEqual([0, false, false]);
  });

  it("tells at once that the cable was pulled, with nothing running", async () => {
    const { transport, peer } = await joinFakeUsb();
    const lost = createMailbox<NightError>();
    transport.onLost((error) => lost.put(error));
    peer.vanish();
    expect((await lost.take()).code).toBe("camera.gone");
    await transport.close();
  });

  it("sends a kernel's driver away", async () => {
    const peer = new FakeUsbCamera();
    const device = new FakeLibusbDevice(peer, { hasKernelDriver: true });
    const transport = new UsbTransport({
      ...{ which: null, listDevices: () => Promise.resolve([device]) },
    });
    await transport.open(5_000);
    expect(device.hasKernelDriver).toBe(false);
    await transport.close();
  });

  it("gives the device free when the camera is busy with something older for 50 ms", async () => {
    const peer = new FakeUsbCamera();
    peer.status = 0x2019;
    const device = new FakeLibusbDevice(peer);
    const transport = new UsbTransport({
      ...{ which: null, listDevices: () => Promise.resolve([device]) },
    });
    await expect(transport.open(50)).rejects.toMatchObject({ code: "camera.busy" });
    expect(device.isOpen).toBe(false);
  });

  it("says so when the USB library cannot be loaded", async () => {
    const transport = new UsbTransport({
      which: null,
      listDevices: () => Promise.reject(new Error("libudev.so.1: cannot open")),
    });
    await expect(transport.open(50)).rejects.toMatchObject({ code: "camera.unsupported" });
  });
});

/** Answers everything with OK, in the order of asking. */
class Agreeable extends StillImageFunction {
  protected override onContainer({ transactionId }: HostContainer): void {
    this.bulkIn.send(containerBytes(3, OK, transactionId));
  }

  protected override onClassRequest(): Buffer | null {
    // A status whose length field is the size of a pointer, as one stack sends it.
    return Buffer.from([8, 0, 0x01, 0x20]);
  }
}

it("runs 300 transactions one after the other with a camera whose status has a wrong length", async () => {
  const device = new FakeLibusbDevice(new Agreeable());
  const transport = new UsbTransport({
    ...{ which: null, listDevices: () => Promise.resolve([device]) },
  });
  await transport.open(5_000);
  for (let id = 1; id <= 300; id += 1) {
    expect((await collect(transport, id)).answer.responseCode).toBe(OK);
  }
  await transport.close();
  expect(device.pendingCount).toBe(0);
});
