import { createHash, randomBytes } from "node:crypto";
import { deviceInfo } from "../../../core/ptp/datasets/deviceInfo.ts";
import { OPERATIONS } from "../../../core/ptp/operations.ts";
import { IpPackets } from "./ipPackets.ts";
import { captureHeader, LINK_TYPES, packetBlock } from "./pcapng.ts";
import type { ProtocolEntry } from "./protocolTape.ts";
import { UsbPackets } from "./usbPackets.ts";

const ABOUT =
  "Camera protocol as this program sent and received it. Frames around it are made up; pictures are cut unless asked for, serial numbers replaced.";

/** Writes entries of the protocol as a capture that a general dissector reads. */
export class Capture {
  readonly #link: "ip" | "usb";
  readonly #packets: IpPackets | UsbPackets;
  readonly #serials = new SerialNumbers();

  constructor(link: "ip" | "usb") {
    this.#link = link;
    this.#packets = link === "ip" ? new IpPackets() : new UsbPackets();
  }

  /** What the file begins with. */
  begin(atUtcMs: number): Uint8Array {
    const linkType = this.#link === "ip" ? LINK_TYPES.rawIp : LINK_TYPES.usbLinuxMmapped;
    return Buffer.concat([
      captureHeader(linkType, ABOUT),
      ...this.#packets.begin(atUtcMs).map(packetBlock),
    ]);
  }

  add(entry: ProtocolEntry): Uint8Array {
    const shown = this.#serials.without(entry);
    return Buffer.concat(this.#packets.packets(shown).map(packetBlock));
  }
}

/** A whole capture of these entries. */
export function captureOf(link: "ip" | "usb", entries: readonly ProtocolEntry[]): Uint8Array {
  const capture = new Capture(link);
  const [first] = entries;
  const atUtcMs =
    first === undefined ? 0 : first.kind === "event" ? first.atUtcMs : first.sentUtcMs;
  return Buffer.concat([capture.begin(atUtcMs), ...entries.map((entry) => capture.add(entry))]);
}

/** Puts other characters in place of a body's serial number, as many, wherever it stands. */
class SerialNumbers {
  /** The same number has the same stand-in within a capture, and another one in the next. */
  readonly #salt = randomBytes(16);
  readonly #known = new Map<string, string>();

  without(entry: ProtocolEntry): ProtocolEntry {
    if (entry.kind === "event") return entry;
    if (entry.operationCode === OPERATIONS.GetDeviceInfo.code && !this.#learn(entry.dataIn)) {
      return { ...entry, dataIn: new Uint8Array(0) };
    }
    if (this.#known.size === 0) return entry;
    const { dataIn, dataOut } = entry;
    return {
      ...entry,
      dataIn: this.#replaced(dataIn),
      dataOut: dataOut === null ? null : this.#replaced(dataOut),
    };
  }

  /** @returns false: it cannot be read, and whatever number stands in it stays out as a whole. */
  #learn(bytes: Uint8Array): boolean {
    try {
      const { serialNumber } = deviceInfo.decode(bytes);
      if (serialNumber.length < SERIAL_LENGTH_MIN || this.#known.has(serialNumber)) return true;
      const hash = createHash("sha512").update(this.#salt).update(serialNumber).digest("hex");
      this.#known.set(serialNumber, hash.repeat(2).slice(0, serialNumber.length));
      return true;
    } catch {
      return false;
    }
  }

  #replaced(bytes: Uint8Array): Uint8Array {
    let shown: Buffer = Buffer.from(bytes);
    for (const [serial, standIn] of this.#known) {
      for (const coding of ["utf16le", "latin1"] as const) {
        shown = withReplaced(shown, Buffer.from(serial, coding), Buffer.from(standIn, coding));
      }
    }
    return shown;
  }
}

/** Shorter "numbers" are those of every body of a maker, and stand everywhere. */
const SERIAL_LENGTH_MIN = 4;

function withReplaced(bytes: Buffer, sought: Buffer, standIn: Buffer): Buffer {
  for (let at = bytes.indexOf(sought); at >= 0; at = bytes.indexOf(sought, at + sought.length)) {
    standIn.copy(bytes, at);
  }
  return bytes;
}
