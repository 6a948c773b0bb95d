import { once } from "node:events";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { connect } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import exifr from "exifr";
import sharp from "sharp";
import { afterEach, describe, expect, it } from "vitest";
import { fromHex, toHex } from "../support/hex.ts";
import { hasTool, runTool } from "../support/outsideTool.ts";
import { pcapOf } from "../support/pcap.ts";
import { BareHost } from "./bareHost.ts";
import { readBodies, traitsOf } from "./body.ts";
import { ByteSource } from "./bytes.ts";
import { Responder, type Recorded } from "./responder.ts";
import type { Traits } from "./switches.ts";

const bodies = readBodies();
const plain = traitsOf(bodies.find(({ name }) => name === "plain")!);
let responder: Responder;

async function start(traits: Partial<Traits> = {}, isRecording = false): Promise<void> {
  responder = await Responder.start({ ...plain, ...traits }, { isRecording });
}

async function host(): Promise<BareHost> {
  const connected = await BareHost.connect(responder.port);
  if (!(connected instanceof BareHost)) throw new Error("the body refused the connection");
  return connected;
}

async function session(): Promise<BareHost> {
  const connected = await host();
  expect((await connected.openSession()).response).toBe(0x2001);
  return connected;
}

function u32(value: number): Buffer {
  const bytes = Buffer.alloc(4);
  bytes.writeUInt32LE(value);
  return bytes;
}

afterEach(() => responder.stop());

describe("the wire, against the worked examples of the facts sheet (§3.6)", () => {
  it("answers an init request with the acknowledgement of connection 1", async () => {
    await start();
    const socket = connect(responder.port, "127.0.0.1");
    await once(socket, "connect");
    const greeting =
      "2a000000 01000000 00112233445566778899aabbccddeeff 48006f00730074002d0031000000 00000100";
    socket.write(fromHex(greeting));
    const [answer] = (await once(socket, "data")) as [Buffer];
    // Length, type 2, connection 1; then GUID, name with its NUL, version 1.0.
    expect(toHex(answer.subarray(4, 12))).toBe("02 00 00 00 01 00 00 00");
    expect(answer.readUInt32LE(0)).toBe(answer.length);
    expect(toHex(answer.subarray(-6))).toBe("00 00 00 00 01 00");
    socket.destroy();
  });

  it("gives the storage list in the bytes of the sheet, however the request is cut", async () => {
    await start({ folders: "flat" });
    const command = connect(responder.port, "127.0.0.1");
    await once(command, "connect");
    command.write(fromHex("2a00000001000000 00112233445566778899aabbccddeeff"));
    command.write(fromHex("48006f00730074002d0031000000 00000100"));
    await once(command, "data");
    const events = connect(responder.port, "127.0.0.1");
    events.write(fromHex("0c000000 03000000 01000000"));
    const [acknowledged] = (await once(events, "data")) as [Buffer];
    expect(toHex(acknowledged)).toBe("08 00 00 00 04 00 00 00");
    command.write(fromHex("16000000 06000000 01000000 0210 00000000 01000000"));
    const [opened] = (await once(command, "data")) as [Buffer];
    expect(toHex(opened)).toBe("0e 00 00 00 07 00 00 00 01 20 00 00 00 00");
    const received: Buffer[] = [];
    command.on("data", (chunk: Buffer) => received.push(chunk));
    for (const byte of fromHex("12000000 06000000 01000000 0410 01000000")) {
      command.write(Buffer.from([byte]));
    }
    const wanted =
      "14000000 09000000 01000000 0800000000000000" +
      "14000000 0c000000 01000000 01000000 01000100" +
      "0e000000 07000000 0120 01000000";
    await expect.poll(() => toHex(Buffer.concat(received))).toBe(toHex(fromHex(wanted)));
    command.destroy();
    events.destroy();
  });

  it("describes an exposure time as the sheet does: type, default, current, form, values", async () => {
    await start();
    const connected = await session();
    const { data } = await connected.ask(0x1014, [0x500d]);
    // 0x500d, 32 bits, read-write, the third-stop rung next to 1/60 s, 160 tenths of a millisecond twice, an enumeration.
    expect(toHex(data.subarray(0, 14))).toBe("0d 50 06 00 01 a0 00 00 00 a0 00 00 00 02");
    expect(data.length).toBe(16 + 4 * data.readUInt16LE(14));
    connected.close();
  });

  it("notes a request against the standard: a number left out", async () => {
    await start();
    const connected = await session();
    await connected.ask(0x1004);
    await connected.openSession();
    await connected.ask(0x1004);
    expect(responder.camera.diary.complaints).toEqual([]);
    connected.close();
  });
});

describe("the shutter", () => {
  it("exposes for as long as an open capture was open, and its JPEG says so", async () => {
    await start();
    const connected = await session();
    expect((await connected.ask(0x101c, [0, 0])).response).toBe(0x2001);
    const opened = connected.transaction;
    await responder.exposedFor(300);
    expect((await connected.ask(0x1018, [opened])).response).toBe(0x2001);
    const added = await connected.event();
    expect(added.code).toBe(0x4002);
    const { data } = await connected.ask(0x1009, [added.parameters[0]!]);
    const exif = (await exifr.parse(data)) as { ExposureTime: number; ISO: number };
    const { openedMs, closedMs } = responder.camera.diary.openings[0]!;
    expect(closedMs! - openedMs).toBeGreaterThan(299);
    expect(exif.ExposureTime).toBeCloseTo((closedMs! - openedMs) / 1000, 2);
    expect(exif.ISO).toBe(400);
    expect((await connected.ask(0x1018, [opened])).response).toBe(0x2018);
    connected.close();
  });

  it("counts a timed capture at the bulb speed, and the shutter stays open", async () => {
    await start({ capture: "opensAtBulb", bulbValue: 0xffffffffn });
    const connected = await session();
    expect((await connected.ask(0x1016, [0x500d], u32(0xffffffff))).response).toBe(0x2001);
    expect((await connected.ask(0x100e, [0, 0])).response).toBe(0x2001);
    expect(responder.camera.diary.timedAtBulb).toBe(1);
    expect(responder.camera.diary.shutterIsOpen).toBe(true);
    connected.close();
  });

  it("doubles the light with twice the time: a stop brighter, by its own pixels", async () => {
    await start();
    const connected = await session();
    const linear: number[] = [];
    for (const tenthsOfMs of [2500, 5000]) {
      const { data } = await connected.ask(0x1014, [0x500d]);
      const source = new ByteSource(data.subarray(16));
      const speeds = Array.from({ length: data.readUInt16LE(14) }, () => source.u32());
      const nearest = speeds.reduce((a, b) =>
        Math.abs(b - tenthsOfMs) < Math.abs(a - tenthsOfMs) ? b : a,
      );
      await connected.ask(0x1016, [0x500d], u32(nearest));
      await connected.ask(0x100e, [0, 0]);
      const { parameters } = await connected.event();
      const { data: jpeg } = await connected.ask(0x1009, [parameters[0]!]);
      const pixels = await sharp(jpeg).greyscale().resize(1, 1).raw().toBuffer();
      linear.push(((pixels[0]! / 255 + 0.055) / 1.055) ** 2.4);
      await connected.event();
    }
    expect(Math.log2(linear[1]! / linear[0]!)).toBeCloseTo(1, 0.9);
    connected.close();
  });

  it("notes a value that is written again although the host has read it", async () => {
    await start();
    const connected = await session();
    const { data } = await connected.ask(0x1015, [0x500d]);
    await connected.ask(0x1016, [0x500d], data);
    expect(responder.camera.diary.writtenAgain).toHaveLength(1);
    connected.close();
  });

  it("is busy to a host that is early after a connection was closed: Init Fail 2", async () => {
    await start({ rearm: { afterMs: 60_000, manner: "busy", keepsSession: false } });
    const connected = await host();
    connected.close();
    await expect.poll(() => BareHost.connect(responder.port)).toEqual({ failReason: 2 });
  });
});

const CAN_DISSECT = hasTool("tshark", "the bodies' traffic is not checked from outside");

describe.runIf(CAN_DISSECT)("an independent dissector", () => {
  it("finds no malformed packet in what every body says of itself", async () => {
    const recorded: Recorded[] = [];
    for (const body of bodies) {
      const traits = traitsOf(body);
      // A greeting without its version is malformed on purpose, and the dissector says so.
      const greeting = traits.greeting === "noVersion" ? "plain" : traits.greeting;
      await start({ ...traits, greeting, pace: plain.pace, ids: "right" }, true);
      const connected = await session();
      const { data } = await connected.ask(0x1001);
      expect(data.length).toBeGreaterThan(35);
      for (const code of responder.camera.properties.codes) await connected.ask(0x1014, [code]);
      connected.close();
      const first = recorded.length === 0 ? 0 : recorded.at(-1)!.connection + 1;
      recorded.push(
        ...responder.recorded
          .toSorted((one, other) => one.connection - other.connection)
          .map((packet) => ({ ...packet, connection: packet.connection + first })),
      );
      await responder.stop();
    }
    await start();
    const folder = mkdtempSync(join(tmpdir(), "bodies-"));
    const file = join(folder, "bodies.pcap");
    writeFileSync(file, pcapOf(recorded, 15740));
    const filter = "_ws.malformed || (ptpip && !(ptpip.pktType >= 1 && ptpip.pktType <= 14))";
    expect(runTool("tshark", ["-r", file, "-Y", filter])).toBe("");
    expect(runTool("tshark", ["-r", file, "-Y", "ptpip"]).split("\n").length).toBeGreaterThan(
      bodies.length * 20,
    );
    rmSync(folder, { recursive: true });
  });
});
