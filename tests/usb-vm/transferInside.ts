// Runs inside the small machine: the largest file of its independent camera, by session and by bare
// bulk reads of the same bytes through the same pipe. Prints one line of JSON.
import { listLibusbDevices } from "../../controller/cameras/libusbDevice.ts";
import { PtpSession } from "../../controller/cameras/ptpSession.ts";
import { chooseUsbCamera } from "../../controller/cameras/usbCameras.ts";
import { UsbLink } from "../../controller/cameras/usbLink.ts";
import { UsbTransport } from "../../controller/cameras/usbTransport.ts";
import { decodeHandles } from "../../core/ptp/datasets/handles.ts";
import { FORMATS } from "../../core/ptp/formats.ts";
import { ALL } from "../../core/ptp/ids.ts";
import { OPERATIONS } from "../../core/ptp/operations.ts";
import { containerBytes, words } from "../support/usbFunction.ts";

const RUNS = 4;
const READ_BYTES = 512 * 1024;

/** Finds the file, and copies it through the session. */
async function bySession(): Promise<{ handle: number; bytes: number; mbPerSecond: number }> {
  const transport = new UsbTransport({ which: null });
  await transport.open(10_000);
  const session = new PtpSession(transport);
  await session.open();
  let largest = { handle: 0, bytes: -1 };
  const folders = [ALL];
  for (let folder = folders.shift(); folder !== undefined; folder = folders.shift()) {
    const { data } = await session.run(OPERATIONS.GetObjectHandles, [ALL, 0, folder]);
    for (const handle of decodeHandles(data)) {
      const { objectFormat, objectCompressedSize: bytes } = await session.getObjectInfo(handle);
      if (objectFormat === FORMATS.Association) folders.push(handle);
      else if (bytes > largest.bytes) largest = { handle, bytes };
    }
  }
  let mbPerSecond = 0;
  for (let run = 0; run < RUNS; run += 1) {
    const startMs = performance.now();
    const { length } = await session.getObject(largest.handle);
    mbPerSecond = Math.max(mbPerSecond, rate(length, startMs));
  }
  await session.close();
  await transport.close();
  return { ...largest, mbPerSecond };
}

/** The same through the pipe alone: a command, then reads until everything is there. */
async function bare(handle: number, bytes: number): Promise<number> {
  const link = new UsbLink(await chooseUsbCamera(await listLibusbDevices(), null));
  const ask = async (code: number, id: number, parameters: readonly number[]): Promise<void> =>
    await link.write(containerBytes(1, code, id, words(parameters)), 5_000);
  await ask(OPERATIONS.OpenSession.code, 0, [1]);
  await link.read(link.packetBytes, 5_000);
  let mbPerSecond = 0;
  for (let run = 0; run < RUNS; run += 1) {
    const whole = Buffer.alloc(12 + bytes);
    const startMs = performance.now();
    await ask(OPERATIONS.GetObject.code, run + 1, [handle]);
    for (let filled = 0; filled < whole.length;) {
      const left = whole.length - filled;
      const wanted = Math.min(READ_BYTES, Math.ceil(left / link.packetBytes) * link.packetBytes);
      const read = await link.read(wanted, 30_000);
      whole.set(read.bytes.subarray(0, left), filled);
      filled += read.bytes.length;
    }
    mbPerSecond = Math.max(mbPerSecond, rate(bytes, startMs));
    await link.read(link.packetBytes, 5_000);
  }
  await ask(OPERATIONS.CloseSession.code, RUNS + 1, []);
  await link.read(link.packetBytes, 5_000);
  await link.close();
  return mbPerSecond;
}

function rate(bytes: number, startMs: number): number {
  return bytes / 1e6 / ((performance.now() - startMs) / 1000);
}

const { handle, bytes, mbPerSecond } = await bySession();
const bareMbPerSecond = await bare(handle, bytes);
process.stdout.write(`TRANSFER ${JSON.stringify({ bytes, mbPerSecond, bareMbPerSecond })}\n`);
