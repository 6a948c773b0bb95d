// Runs inside the small machine: the largest file of its independent camera, by session and by bare
// bulk reads of the same bytes through the same pipe. Prints one line of JSON.
import { listLibusbDevices } from "../../controller/cameras/usb/libusbDevice.ts";
import { PtpSession } from "../../controller/cameras/ptpSession.ts";
import { chooseUsbCamera } from "../../controller/cameras/usb/findCameras.ts";
import { UsbContainers } from "../../controller/cameras/usb/containers.ts";
import { UsbLink } from "../../controller/cameras/usb/link.ts";
import { UsbTransport } from "../../controller/cameras/usb/usbTransport.ts";
import { decodeHandles } from "../../core/ptp/datasets/handles.ts";
import { objectInfo } from "../../core/ptp/datasets/objectInfo.ts";
import { FORMATS } from "../../core/ptp/formats.ts";
import { ALL } from "../../core/ptp/ids.ts";
import { operationOf, OPERATIONS } from "../../core/ptp/operations.ts";
import { containerBytes, words } from "../support/usbFunction.ts";

const RUNS = 4;
const READ_BYTES = 512 * 1024;

/** Runs an operation and returns its data. */
type Ask = (code: number, parameters: readonly number[]) => Promise<Uint8Array>;

/** This camera knows files only once their folder was asked for, in every session again. */
async function largestFile(ask: Ask): Promise<{ handle: number; bytes: number }> {
  let largest = { handle: 0, bytes: -1 };
  const folders = [ALL];
  for (let folder = folders.shift(); folder !== undefined; folder = folders.shift()) {
    const handles = await ask(OPERATIONS.GetObjectHandles.code, [ALL, 0, folder]);
    for (const handle of decodeHandles(handles)) {
      const info = objectInfo.decode(await ask(OPERATIONS.GetObjectInfo.code, [handle]));
      const { objectFormat, objectCompressedSize: bytes } = info;
      if (objectFormat === FORMATS.Association) folders.push(handle);
      else if (bytes > largest.bytes) largest = { handle, bytes };
    }
  }
  return largest;
}

async function bySession(): Promise<{ bytes: number; mbPerSecond: number }> {
  const transport = new UsbTransport({ which: null });
  await transport.open(10_000);
  const session = new PtpSession(transport);
  await session.open();
  const { handle, bytes } = await largestFile(async (code, parameters) => {
    const operation = operationOf(code)!;
    return (await session.run(operation, parameters)).data;
  });
  let mbPerSecond = 0;
  for (let run = 0; run < RUNS; run += 1) {
    const startMs = performance.now();
    const { length } = await session.getObject(handle);
    mbPerSecond = Math.max(mbPerSecond, rate(length, startMs));
  }
  await session.close();
  await transport.close();
  return { bytes, mbPerSecond };
}

/** The same through the pipe alone: a command, then reads until everything is there. */
async function bare(): Promise<number> {
  const link = new UsbLink(await chooseUsbCamera(await listLibusbDevices(), null));
  const containers = new UsbContainers(
    (bytesMax, room) => link.read(bytesMax, 5_000, room),
    link.packetBytes,
  );
  let id = 0;
  const send = async (code: number, parameters: readonly number[]): Promise<void> => {
    await link.write(containerBytes(1, code, id, words(parameters)), 5_000);
    id += 1;
  };
  const ask: Ask = async (code, parameters) => {
    const pieces: Uint8Array[] = [];
    const sink = {
      begin: () => undefined,
      roomFor: () => null,
      piece: (piece: Uint8Array) => pieces.push(piece),
    };
    await send(code, parameters);
    while ((await containers.next(sink)).kind === "data");
    return Buffer.concat(pieces);
  };
  await ask(OPERATIONS.OpenSession.code, [1]);
  const { handle, bytes } = await largestFile(ask);
  let mbPerSecond = 0;
  for (let run = 0; run < RUNS; run += 1) {
    const startMs = performance.now();
    // Room for the whole is part of a copy, as it is part of the session's.
    const whole = Buffer.alloc(12 + bytes);
    await send(OPERATIONS.GetObject.code, [handle]);
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
  await ask(OPERATIONS.CloseSession.code, []);
  await link.close();
  return mbPerSecond;
}

function rate(bytes: number, startMs: number): number {
  return bytes / 1e6 / ((performance.now() - startMs) / 1000);
}

const { bytes, mbPerSecond } = await bySession();
const bareMbPerSecond = await bare();
process.stdout.write(`TRANSFER ${JSON.stringify({ bytes, mbPerSecond, bareMbPerSecond })}\n`);
