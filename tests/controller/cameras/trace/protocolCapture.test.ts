// What went over a link, written as a capture and read back by tshark (Debian package), a dissector
// that is not ours.
import { existsSync, readdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, test } from "vitest";
import { createTransport } from "../../../../controller/cameras/createTransport.ts";
import { PtpSession } from "../../../../controller/cameras/ptpSession.ts";
import { captureOf } from "../../../../controller/cameras/trace/protocolCapture.ts";
import {
  ProtocolTape,
  taped,
  type ProtocolEntry,
} from "../../../../controller/cameras/trace/protocolTape.ts";
import { FaultFiles } from "../../../../controller/cameras/trace/traceFiles.ts";
import { hasTool, runTool } from "../../../support/outsideTool.ts";
import { temporaryFolder } from "../../../support/temporaryFolder.ts";
import { startTestCamera } from "../../../support/testCamera.ts";

const hasTshark = hasTool("tshark", "captures are not read by another program");

/** A short session with one frame, whose picture is fetched whole. */
async function session(withPictures: boolean) {
  const camera = await startTestCamera({ rate: 100 });
  const tape = new ProtocolTape({ withPictures });
  const link = createTransport({ kind: "ip", host: "127.0.0.1", port: camera.port });
  const transport = taped(link, tape);
  const added: number[] = [];
  const completed = new Promise<void>((resolve) => {
    transport.onEvent(({ eventCode, parameters }) => {
      if (eventCode === 0x4002) added.push(parameters[0]!);
      if (eventCode === 0x400d) resolve();
    });
  });
  await transport.open(5000);
  const host = new PtpSession(transport);
  await host.open();
  const { serialNumber } = await host.getDeviceInfo();
  await host.initiateCapture();
  await completed;
  const picture = await host.getObject(added[0]!);
  await host.close();
  await transport.close();
  await camera.close();
  return { entries: tape.take(), serialNumber, picture };
}

function fieldsOf(file: string, fields: readonly string[]): readonly string[] {
  const asked = fields.flatMap((field) => ["-e", field]);
  const text = runTool("tshark", ["-n", "-r", file, "-T", "fields", ...asked]);
  return text.split("\n").filter((line) => line !== "");
}

describe.skipIf(!hasTshark)("a capture of a session with one frame", () => {
  for (const link of ["ip", "usb"] as const) {
    test(`reads over ${link} without a malformed packet, serial number or picture`, async () => {
      const { entries, serialNumber, picture } = await session(false);
      const bytes = Buffer.from(captureOf(link, entries));
      const file = join(temporaryFolder(), `${link}.pcapng`);
      writeFileSync(file, bytes);
      expect(runTool("tshark", ["-n", "-r", file, "-Y", "_ws.malformed"])).toBe("");
      const bad = "tcp.checksum.status == 0 || ip.checksum.status == 0 || tcp.analysis.flags";
      const checks = ["-o", "tcp.check_checksum:TRUE", "-o", "ip.check_checksum:TRUE"];
      if (link === "ip")
        expect(runTool("tshark", [...checks, "-n", "-r", file, "-Y", bad])).toBe("");
      expect(serialNumber.length).toBeGreaterThan(3);
      for (const coding of ["utf16le", "latin1"] as const) {
        expect(bytes.includes(Buffer.from(serialNumber, coding))).toBe(false);
      }
      expect(bytes.includes(Buffer.from(picture.subarray(0, 64)))).toBe(false);
      const added = fieldsOf(file, ["frame.comment"]).filter((line) => /^ObjectAdded/.test(line));
      expect(added).toHaveLength(1);
      // The picture's length can still be seen.
      const longest = Math.max(...fieldsOf(file, ["frame.len"]).map(Number));
      expect(longest).toBeGreaterThan(Math.min(picture.byteLength, 60_000));
    });
  }

  test("counts as many operations and responses as took place, by tshark's own dissector", async () => {
    const { entries } = await session(false);
    const file = join(temporaryFolder(), "count.pcapng");
    writeFileSync(file, captureOf("ip", entries));
    const types = fieldsOf(file, ["ptpip.pktType"])
      .flatMap((line) => line.split(","))
      .map(Number);
    const count = (type: number): number => types.filter((one) => one === type).length;
    const transactions = entries.filter(({ kind }) => kind === "transaction").length;
    expect(transactions).toBeGreaterThan(4);
    expect([count(6), count(7)]).toEqual([transactions, transactions]);
    expect(count(8)).toBe(entries.length - transactions);
    expect([count(1), count(2), count(3), count(4)]).toEqual([1, 1, 1, 1]);
  });

  test("holds the picture where it was asked for", async () => {
    const { entries, picture } = await session(true);
    const bytes = Buffer.from(captureOf("usb", entries));
    // Its Exif has the serial number, which is replaced there, too; the picture itself lies behind.
    expect(bytes.includes(Buffer.from(picture.subarray(-2000)))).toBe(true);
  });
});

const EVENT: ProtocolEntry = {
  ...{ kind: "event", atUtcMs: 0, eventCode: 0x4002, transactionId: 0, parameters: [1] },
};

describe("the tape", () => {
  test("keeps the newest within its bytes, however long it runs", () => {
    const tape = new ProtocolTape({ bytesMax: 20_000 });
    for (let n = 0; n < 50_000; n += 1) tape.note({ ...EVENT, transactionId: n });
    const kept = tape.take();
    expect(kept).toHaveLength(100);
    expect(kept.at(-1)?.transactionId).toBe(49_999);
    expect(tape.take()).toEqual([]);
  });

  test("leaves eight files beside a night of thirty faults, the first of them among these", async () => {
    const nightDir = temporaryFolder();
    const files = new FaultFiles({ nightDir, cameraId: "camera-1", link: "ip" });
    const first = await files.write([EVENT], 0);
    for (let n = 1; n < 30; n += 1) await files.write([EVENT], n * 60_000);
    expect(readdirSync(nightDir)).toHaveLength(8);
    expect(existsSync(first)).toBe(true);
  });
});
