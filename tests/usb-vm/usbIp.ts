// Presents an emulated device to this kernel as one on its bus, through USB/IP: no cable, but
// the kernel's own USB stack from the host controller driver up.
// Sources: the kernel's Documentation/usb/usbip_protocol.rst for the packets, USB 2.0 §9.4 to §9.6
// for requests and descriptors, vhci_hcd's sysfs files for attaching.
import { readFileSync, writeFileSync } from "node:fs";
import { createServer, Socket, type AddressInfo } from "node:net";
import type { Setup, TransferEnd, UsbFunction } from "../support/usbFunction.ts";

const CONTROLLER = "/sys/devices/platform/vhci_hcd.0";
const HIGH_SPEED = 3;
const HEADER_BYTES = 48;
const COMMANDS = { submit: 1, unlink: 2 } as const;
const ANSWERS = { submit: 3, unlink: 4 } as const;
/** Linux error numbers that a URB may end with. */
const STATUS: Record<TransferEnd, number> = {
  ...{ done: 0, stall: -32, gone: -19, overflow: -75, cancelled: -104 },
};

/** A device on this kernel's bus. */
export type Attached = {
  /** Pulls the plug. */
  detach(): void;
};

/** Plugs the device in. Needs the module vhci-hcd and the right to write to its files. */
export async function attachToKernel(device: UsbFunction, address: number): Promise<Attached> {
  const { ours, kernels } = await socketPair();
  const port = freePort();
  const descriptor = (kernels as unknown as { _handle: { fd: number } })._handle.fd;
  const end = serve(device, ours);
  // Bus and device number of the far end are only shown, never used.
  writeFileSync(
    `${CONTROLLER}/attach`,
    `${port} ${descriptor} ${(1 << 16) | address} ${HIGH_SPEED}`,
  );
  device.onGone(() => detachPort(port));
  return {
    detach: () => {
      device.vanish();
      end();
    },
  };
}

function detachPort(port: number): void {
  try {
    writeFileSync(`${CONTROLLER}/detach`, String(port));
  } catch {
    // Nothing was plugged in there any more.
    return;
  }
}

function freePort(): number {
  const lines = readFileSync(`${CONTROLLER}/status`, "latin1").split("\n").slice(1);
  const fields = lines.map((line) => line.trim().split(/\s+/));
  const free = fields.find(([hub, , state]) => hub === "hs" && state === "004");
  if (!free) throw new Error("the kernel has no free port for another device");
  return Number(free[1]);
}

/** Two ends of one connection; the kernel takes one of them over. */
function socketPair(): Promise<{ ours: Socket; kernels: Socket }> {
  return new Promise((resolve, reject) => {
    const kernels = new Socket();
    kernels.pause();
    const server = createServer((ours) => {
      server.close();
      ours.setNoDelay(true);
      resolve({ ours, kernels });
    });
    server.once("error", reject);
    server.listen(0, "127.0.0.1", () => {
      kernels.connect((server.address() as AddressInfo).port, "127.0.0.1", () =>
        kernels.setNoDelay(true),
      );
    });
  });
}

/** Answers the kernel's requests until the connection ends. */
function serve(device: UsbFunction, socket: Socket): () => void {
  const pending = new Map<number, { cancel(): boolean }>();
  socket.on("error", () => socket.destroy());

  const answer = (sequence: number, end: TransferEnd, data: Buffer | null, count: number): void => {
    if (socket.destroyed) return;
    socket.cork();
    socket.write(answerHeader(ANSWERS.submit, sequence, { status: STATUS[end], count }));
    if (data !== null && data.length > 0) socket.write(data);
    socket.uncork();
  };
  const takeBack = (sequence: number, victim: number): void => {
    const isFound = pending.get(victim)?.cancel() ?? false;
    pending.delete(victim);
    const status = isFound ? STATUS.cancelled : 0;
    socket.write(answerHeader(ANSWERS.unlink, sequence, { status, count: 0 }));
  };
  const bring = (sequence: number, endpoint: number, bytesMax: number): void => {
    const pipe = device.inPipe(endpoint | 0x80);
    if (pipe === null) return answer(sequence, "stall", null, 0);
    let isOver = false;
    const request = pipe.request(bytesMax, (end, bytes) => {
      isOver = true;
      pending.delete(sequence);
      // A request that the kernel took back is answered by the answer to taking it back.
      if (end !== "cancelled") answer(sequence, end, bytes, bytes.length);
    });
    if (!isOver) pending.set(sequence, request);
  };
  const take = (header: Buffer, out: Buffer): void => {
    const sequence = header.readUInt32BE(4);
    if (header.readUInt32BE(0) === COMMANDS.unlink) {
      return takeBack(sequence, header.readUInt32BE(20));
    }
    const isIn = header.readUInt32BE(12) === 1;
    const endpoint = header.readUInt32BE(16);
    const bytesMax = header.readInt32BE(24);
    if (endpoint === 0) {
      const data = control(device, setupOf(header), out);
      if (data === null) return answer(sequence, "stall", null, 0);
      const cut = data.subarray(0, bytesMax);
      return answer(sequence, "done", isIn ? cut : null, isIn ? cut.length : out.length);
    }
    if (isIn) return bring(sequence, endpoint, bytesMax);
    const end = device.receive(out);
    return answer(sequence, end, null, end === "done" ? out.length : 0);
  };
  socket.on("data", commandCutter(take));
  return () => socket.destroy();
}

/** Cuts a stream of bytes into the kernel's commands, each with the data that it sends along. */
function commandCutter(take: (header: Buffer, out: Buffer) => void): (chunk: Buffer) => void {
  let chunks: Buffer[] = [];
  let have = 0;
  let need = HEADER_BYTES;
  return (chunk) => {
    chunks.push(chunk);
    have += chunk.length;
    while (have >= need) {
      const all = chunks.length === 1 ? chunks[0]! : Buffer.concat(chunks);
      const used = HEADER_BYTES + outBytes(all);
      chunks = [all];
      if (all.length < used) {
        need = used;
        return;
      }
      take(all.subarray(0, HEADER_BYTES), all.subarray(HEADER_BYTES, used));
      chunks = [all.subarray(used)];
      have = all.length - used;
      need = HEADER_BYTES;
    }
  };
}

function answerHeader(
  kind: number,
  sequence: number,
  { status, count }: { readonly status: number; readonly count: number },
): Buffer {
  const header = Buffer.alloc(HEADER_BYTES);
  header.writeUInt32BE(kind, 0);
  header.writeUInt32BE(sequence, 4);
  header.writeInt32BE(status, 20);
  header.writeInt32BE(count, 24);
  return header;
}

function outBytes(header: Buffer): number {
  const isSubmit = header.readUInt32BE(0) === COMMANDS.submit;
  const isOut = header.readUInt32BE(12) === 0;
  return isSubmit && isOut ? Math.max(0, header.readInt32BE(24)) : 0;
}

function setupOf(header: Buffer): Setup {
  return {
    requestType: header[40]!,
    request: header[41]!,
    value: header.readUInt16LE(42),
    index: header.readUInt16LE(44),
    length: header.readUInt16LE(46),
  };
}

const STANDARD = { getStatus: 0, clearFeature: 1, getDescriptor: 6, getConfiguration: 8 } as const;
const RECIPIENTS = { interface: 1, endpoint: 2 } as const;
const DESCRIPTORS = { device: 1, configuration: 2, string: 3 } as const;

/** Standard requests to the device are answered here, what concerns a class by the device; null: stalled. */
function control(device: UsbFunction, setup: Setup, data: Buffer): Buffer | null {
  if (((setup.requestType >> 5) & 3) !== 0) return device.control(setup, data);
  const recipient = setup.requestType & 31;
  switch (setup.request) {
    case STANDARD.getDescriptor:
      // An interface's descriptors are its class's own. Source: HID 1.11 §7.1.1.
      if (recipient === RECIPIENTS.interface) return device.control(setup, data);
      return descriptor(device, setup.value >> 8, setup.value & 255);
    case STANDARD.getConfiguration:
      return Buffer.from([1]);
    case STANDARD.getStatus:
      return Buffer.from([0, 0]);
    case STANDARD.clearFeature:
      if (recipient === RECIPIENTS.endpoint) device.clearHalt(setup.index);
      return Buffer.alloc(0);
    default:
      // Setting configuration or interface: there is only one of each.
      return Buffer.alloc(0);
  }
}

function descriptor(device: UsbFunction, type: number, index: number): Buffer | null {
  const { identity, deviceClass, interfaces } = device;
  if (type === DESCRIPTORS.device) {
    const ids = [...pair(identity.vendorId), ...pair(identity.productId), ...pair(0x0100)];
    return Buffer.from([18, 1, ...pair(0x0200), ...deviceClass, 64, ...ids, 1, 2, 3, 1]);
  }
  if (type === DESCRIPTORS.configuration) {
    const { count, descriptors } = interfaces;
    const totalBytes = pair(9 + descriptors.length);
    return Buffer.from([9, 2, ...totalBytes, count, 1, 0, 0x80, 50, ...descriptors]);
  }
  if (type !== DESCRIPTORS.string) return null;
  if (index === 0) return Buffer.from([4, 3, ...pair(0x0409)]);
  const text = [identity.manufacturer, identity.product, identity.serialNumber][index - 1];
  if (text === undefined) return null;
  const bytes = Buffer.from(text, "utf16le");
  return Buffer.concat([Buffer.from([2 + bytes.length, 3]), bytes]);
}

function pair(value: number): readonly [number, number] {
  return [value & 255, value >> 8];
}
