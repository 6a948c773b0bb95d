// A relay on USB that is switched by HID feature reports, and whose contact's movements are written down.
// Sources: HID 1.11 §6.2 (descriptors), §7.1 and §7.2 (requests); the numbers and reports are those of
// `hardware-profiles/releases/hid-relay-16c0-05df.json`.
import { realMs } from "../../controller/timing/clock.ts";
import type { ContactMovement } from "./fileRelease.ts";
import { endpointDescriptor, InPipe, type Setup, type UsbFunction } from "./usbFunction.ts";

const REQUESTS = { getReport: 0x01, setReport: 0x09, setIdle: 0x0a, getDescriptor: 0x06 };
const REPORT_DESCRIPTOR = 0x22;
const COMMANDS = { closeOne: 0xff, openOne: 0xfd } as const;
const REPORT_BYTES = 8;
const ENDPOINT_IN = 0x81;

/** Eight bytes of a maker's own usage, as input and as feature report. */
const REPORTS = Buffer.from([
  ...[0x06, 0x00, 0xff, 0x09, 0x01, 0xa1, 0x01, 0x15, 0x00, 0x26, 0xff, 0x00],
  ...[0x75, 8, 0x95, REPORT_BYTES, 0x09, 0x00, 0x81, 0x02, 0x09, 0x00, 0xb2, 0x02, 0x01, 0xc0],
]);

export class HidRelay implements UsbFunction {
  readonly identity;
  readonly deviceClass = [0, 0, 0] as const;
  readonly interfaces = {
    count: 1,
    descriptors: [
      ...[9, 4, 0, 0, 1, 3, 0, 0, 0],
      ...[9, 0x21, 0x11, 0x01, 0, 1, REPORT_DESCRIPTOR, REPORTS.length, 0],
      ...endpointDescriptor(ENDPOINT_IN, "interrupt", REPORT_BYTES, 9),
    ],
  };
  readonly movements: ContactMovement[] = [];
  readonly #reports = new InPipe(REPORT_BYTES);
  readonly #onGone: (() => void)[] = [];

  constructor(serialNumber: string) {
    this.identity = {
      ...{ vendorId: 0x16c0, productId: 0x05df, manufacturer: "Nobody" },
      ...{ product: "Relay for tests", serialNumber },
    };
  }

  inPipe(endpoint: number): InPipe | null {
    return endpoint === ENDPOINT_IN ? this.#reports : null;
  }

  receive(): "stall" {
    return "stall";
  }

  control({ request, value }: Setup, data: Buffer): Buffer | null {
    switch (request) {
      case REQUESTS.getDescriptor:
        return value >> 8 === REPORT_DESCRIPTOR ? REPORTS : null;
      case REQUESTS.setReport:
        this.#switch(data);
        return Buffer.alloc(0);
      case REQUESTS.getReport:
        return Buffer.alloc(REPORT_BYTES);
      case REQUESTS.setIdle:
        return Buffer.alloc(0);
      default:
        return null;
    }
  }

  clearHalt(endpoint: number): void {
    this.inPipe(endpoint)?.clearHalt();
  }

  vanish(): void {
    this.#reports.vanish();
    for (const listener of this.#onGone.splice(0)) listener();
  }

  onGone(listener: () => void): void {
    this.#onGone.push(listener);
  }

  /** A report may come with its number, 0, before its eight bytes. */
  #switch(data: Buffer): void {
    const [command] = data.subarray(data.length - REPORT_BYTES);
    const word = command === COMMANDS.closeOne ? "closed" : "open";
    if (word === "open" && command !== COMMANDS.openOne) return;
    this.movements.push({ word, atMs: realMs() });
  }
}
