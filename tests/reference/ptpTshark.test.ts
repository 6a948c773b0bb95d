// A short night between the program's own session and its virtual camera, dissected by tshark
// (Debian package), a reader of PTP/IP that is not ours; and, since it overlooks much (it shows no
// parameters and no data), compared byte for byte with worked examples computed from the published
// layouts of MTP 1.1 and CIPA DC-X005.
import { execFileSync } from "node:child_process";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { createTransport } from "../../controller/cameras/createTransport.ts";
import { PtpSession } from "../../controller/cameras/ptpSession.ts";
import { uint16, uint32 } from "../../core/ptp/dataTypes.ts";
import { monotonicMs } from "../../core/units.ts";
import { hasTool } from "../support/outsideTool.ts";
import { toHex } from "../support/hex.ts";
import { pcapOf } from "../support/pcap.ts";
import { startRecordingProxy, type RecordedPacket } from "../support/recordingProxy.ts";
import { startTestCamera } from "../support/testCamera.ts";

const hasTshark = hasTool("tshark", "the PTP/IP traffic is not checked from outside");
const CAMERA_PORT = 15_740;
const BUSY = { busyMsMax: 10_000 };

/** What the host counted by itself while it worked. */
type Tally = { readonly operations: Map<number, number>; failed: number };

let packets: readonly RecordedPacket[];
let tally: Tally;
let bulbIds: { readonly opened: number; readonly closed: number };
let fetched: readonly Uint8Array[];

/** Opens, looks around, sets a 30 s exposure and ISO 3200, takes three bulb frames and a timed one. */
beforeAll(async () => {
  const camera = await startTestCamera({ rate: 100 });
  const proxy = await startRecordingProxy(camera.port);
  const transport = createTransport({ kind: "ip", host: "127.0.0.1", port: proxy.port });
  tally = { operations: new Map(), failed: 0 };
  const session = new PtpSession(transport, {
    onAnswer: ({ code }, { responseCode }) => {
      tally.operations.set(code, (tally.operations.get(code) ?? 0) + 1);
      if (responseCode !== 0x2001) tally.failed += 1;
    },
  });
  const added: number[] = [];
  const completed = new Promise<void>((resolve) => {
    transport.onEvent(({ eventCode, parameters }) => {
      if (eventCode === 0x4002) added.push(parameters[0]!);
      if (eventCode === 0x400d) resolve();
    });
  });
  await transport.open(5000);
  await session.open();
  await session.getDeviceInfo();
  const [store] = await session.getStorageIds();
  await session.getStorageInfo(store!);
  for (const code of [0x5001, 0x5007, 0x500d, 0x500f, 0x5011]) await session.describeProperty(code);
  await session.setProperty(0x500d, uint32, 300_000);
  await session.setProperty(0x500d, uint32, 5000);
  await session.setProperty(0x500f, uint16, 3200);
  for (let frame = 0; frame < 3; frame += 1) {
    await session.initiateOpenCapture(undefined, BUSY);
    const opened = session.upcomingTransactionId - 1;
    await camera.clock.sleepUntil(monotonicMs(camera.clock.monotonicMs() + 2_000));
    await session.terminateOpenCapture(opened);
    bulbIds = { opened, closed: session.upcomingTransactionId - 1 };
  }
  await session.initiateCapture(BUSY);
  await completed;
  const files: Uint8Array[] = [];
  for (const handle of added) {
    await session.getObjectInfo(handle);
    files.push(await session.getThumb(handle));
    files.push(await session.getPartialObject(handle, { offset: 0, bytes: 500 }));
    files.push(await session.getObject(handle));
  }
  fetched = files;
  await session.close();
  await transport.close();
  packets = [...proxy.packets];
  await proxy.close();
  await camera.close();
});

/** The packets' bytes of one type, in order. */
function bytesOf(type: number, filter: (bytes: Buffer) => boolean = () => true): Buffer[] {
  return packets
    .map(({ bytes }) => bytes)
    .filter((bytes) => bytes.readUInt32LE(4) === type && filter(bytes));
}

/** A request by its operation code. */
function requests(code: number): Buffer[] {
  return bytesOf(6, (bytes) => bytes.readUInt16LE(12) === code);
}

describe.runIf(hasTshark)("a short night as tshark dissects it", () => {
  let folder: string;
  let file: string;
  beforeAll(() => {
    folder = mkdtempSync(join(tmpdir(), "nattvakt-pcap-"));
    file = join(folder, "night.pcap");
    writeFileSync(file, pcapOf(packets, CAMERA_PORT));
  });
  afterAll(() => rmSync(folder, { recursive: true, force: true }));

  /** One row of wanted fields for every packet that the filter selects. */
  function tshark(filter: string, ...fields: readonly string[]): string[][] {
    const wanted = fields.flatMap((field) => ["-e", field]);
    const output = execFileSync(
      "tshark",
      ["-r", file, "-o", "tcp.check_checksum:TRUE", "-Y", filter, "-T", "fields", ...wanted],
      { stdio: ["ignore", "pipe", "ignore"], maxBuffer: 64 * 1024 * 1024 },
    );
    const lines = String(output)
      .split("\n")
      .filter((line) => line !== "");
    return lines.map((line) => line.split("\t"));
  }

  test("no packet is malformed and every checksum and sequence number is right", () => {
    const wrong = "_ws.malformed || tcp.analysis.flags || tcp.checksum.status == 0";
    expect(tshark(wrong, "frame.number", "_ws.col.Info")).toEqual([]);
  });

  test("every recorded packet is one PTP/IP packet of its length and type", () => {
    const rows = tshark("ptpip", "ptpip.len", "ptpip.pktType");
    expect(rows.map(([length, type]) => [Number(length), Number(type)])).toEqual(
      packets.map(({ bytes }) => [bytes.length, bytes.readUInt32LE(4)]),
    );
  });

  test("requests, operation by operation, are as many as the host counted", () => {
    const counts = new Map<number, number>();
    for (const [code] of tshark("ptpip.pktType == 6", "ptpip.opcode")) {
      counts.set(Number(code), (counts.get(Number(code)) ?? 0) + 1);
    }
    expect(counts).toEqual(tally.operations);
    expect(counts.get(0x1018)).toBe(3);
  });

  test("each request has one response of its own transaction, and all but busy ones are OK", () => {
    const asked = tshark("ptpip.pktType == 6", "ptpip.transactionID").flat();
    const answered = tshark("ptpip.pktType == 7", "ptpip.transactionID").flat();
    expect(answered).toEqual(asked);
    // tshark files response codes under "opcode".
    const codes = tshark("ptpip.pktType == 7", "ptpip.opcode").flat().map(Number);
    expect(codes.filter((code) => code !== 0x2001)).toEqual(Array(tally.failed).fill(0x2019));
  });

  test("the events are four ObjectAdded and one CaptureComplete", () => {
    const codes = tshark("ptpip.pktType == 8", "ptpip.eventcode").flat().map(Number);
    expect(codes.sort((a, b) => a - b)).toEqual([0x4002, 0x4002, 0x4002, 0x4002, 0x400d]);
  });

  test("the announced data lengths are those of what the host received", () => {
    const lengths = tshark("ptpip.pktType == 9", "ptpip.datalen").flat().map(Number);
    for (const bytes of fetched) expect(lengths).toContain(bytes.length);
  });

  test("the camera's name, version and the session's number are read", () => {
    const [ack] = tshark("ptpip.pktType == 2", "ptpip.name", "ptpip.version", "ptpip.connection");
    expect(ack).toEqual(["VCam", "1.0", "1"]);
    const [session] = tshark("ptpip.opcode == 0x1002", "ptpip.opcode.param.sessionid");
    expect(Number(session![0])).toBe(1);
  });
});

describe("the same night byte for byte", () => {
  test("the event connection's two packets", () => {
    expect(toHex(bytesOf(3)[0]!)).toBe("0c 00 00 00 03 00 00 00 01 00 00 00");
    expect(toHex(bytesOf(4)[0]!)).toBe("08 00 00 00 04 00 00 00");
  });

  test("OpenSession and its answer", () => {
    expect(toHex(requests(0x1002)[0]!)).toBe(
      "16 00 00 00 06 00 00 00 01 00 00 00 02 10 00 00 00 00 01 00 00 00",
    );
    expect(toHex(bytesOf(7)[0]!)).toBe("0e 00 00 00 07 00 00 00 01 20 00 00 00 00");
  });

  test("GetStorageIDs: request, data of one store, answer", () => {
    const request = requests(0x1004)[0]!;
    const at = packets.findIndex(({ bytes }) => bytes === request);
    const id = toHex(request.subarray(14, 18));
    const four = packets.slice(at, at + 4).map(({ bytes }) => toHex(bytes));
    expect(four).toEqual([
      `12 00 00 00 06 00 00 00 01 00 00 00 04 10 ${id}`,
      `14 00 00 00 09 00 00 00 ${id} 08 00 00 00 00 00 00 00`,
      `14 00 00 00 0c 00 00 00 ${id} 01 00 00 00 01 00 01 00`,
      `0e 00 00 00 07 00 00 00 01 20 ${id}`,
    ]);
  });

  test("SetDevicePropValue of a 30 s exposure: request, data, answer", () => {
    const request = requests(0x1016)[0]!;
    const at = packets.findIndex(({ bytes }) => bytes === request);
    const id = toHex(request.subarray(14, 18));
    const four = packets.slice(at, at + 4).map(({ bytes }) => toHex(bytes));
    expect(four).toEqual([
      `16 00 00 00 06 00 00 00 02 00 00 00 16 10 ${id} 0d 50 00 00`,
      `14 00 00 00 09 00 00 00 ${id} 04 00 00 00 00 00 00 00`,
      `10 00 00 00 0c 00 00 00 ${id} e0 93 04 00`,
      `0e 00 00 00 07 00 00 00 01 20 ${id}`,
    ]);
  });

  test("a bulb frame's two requests, the second naming the first", () => {
    const word = (value: number): string => {
      const bytes = Buffer.alloc(4);
      bytes.writeUInt32LE(value);
      return toHex(bytes);
    };
    expect(toHex(requests(0x101c).at(-1)!)).toBe(
      `1a 00 00 00 06 00 00 00 01 00 00 00 1c 10 ${word(bulbIds.opened)} 00 00 00 00 00 00 00 00`,
    );
    expect(toHex(requests(0x1018).at(-1)!)).toBe(
      `16 00 00 00 06 00 00 00 01 00 00 00 18 10 ${word(bulbIds.closed)} ${word(bulbIds.opened)}`,
    );
  });

  test("a timed frame's request and both its events", () => {
    const request = requests(0x100e).at(-1)!;
    const id = toHex(request.subarray(14, 18));
    expect(toHex(request)).toBe(
      `1a 00 00 00 06 00 00 00 01 00 00 00 0e 10 ${id} 00 00 00 00 00 00 00 00`,
    );
    const [added, completed] = bytesOf(8).slice(-2);
    expect(toHex(added!.subarray(0, 14))).toBe(`12 00 00 00 08 00 00 00 02 40 ${id}`);
    expect(toHex(completed!)).toBe(`12 00 00 00 08 00 00 00 0d 40 ${id} ${id}`);
  });
});
