// A serial adapter on USB whose control lines are written down: what a release cable would feel.
// Source: USB CDC PSTN 1.2 §5.3.2 (capabilities) and §6.3 (requests).
import { realMs } from "../../controller/timing/clock.ts";
import {
  endpointDescriptor,
  InPipe,
  TEST_USB_IDENTITY,
  type Setup,
  type UsbFunction,
} from "./usbFunction.ts";

const ENDPOINTS = { bulkIn: 0x81, bulkOut: 0x01, notify: 0x82 } as const;
const REQUESTS = { setLineCoding: 0x20, getLineCoding: 0x21, setLines: 0x22, sendBreak: 0x23 };
const CAPABILITIES = { lines: 2, break: 4 };

/** Both control lines, as the host set them at a moment of real time. */
export type LineMovement = { readonly dtr: boolean; readonly rts: boolean; readonly atMs: number };

export class SerialAdapter implements UsbFunction {
  readonly identity;
  readonly deviceClass = [2, 0, 0] as const;
  readonly interfaces;
  readonly movements: LineMovement[] = [];
  readonly #bulkIn = new InPipe(512);
  readonly #notify = new InPipe(16);
  readonly #onGone: (() => void)[] = [];
  #lineCoding = Buffer.from([0x80, 0x25, 0, 0, 0, 0, 8]);

  /** @param hasBreak  Without it a system refuses to set its lines by themselves. */
  constructor(options: { readonly serialNumber: string; readonly hasBreak: boolean }) {
    const { serialNumber, hasBreak } = options;
    this.identity = {
      ...{ ...TEST_USB_IDENTITY, productId: 0xca12, product: "Serial adapter for tests" },
      serialNumber,
    };
    const capabilities = CAPABILITIES.lines | (hasBreak ? CAPABILITIES.break : 0);
    this.interfaces = {
      count: 2,
      descriptors: [
        ...[9, 4, 0, 0, 1, 2, 2, 1, 0],
        ...[5, 0x24, 0, 0x10, 1],
        ...[4, 0x24, 2, capabilities],
        ...[5, 0x24, 6, 0, 1],
        ...[5, 0x24, 1, 0, 1],
        ...endpointDescriptor(ENDPOINTS.notify, "interrupt", 16, 9),
        ...[9, 4, 1, 0, 2, 10, 0, 0, 0],
        ...endpointDescriptor(ENDPOINTS.bulkIn, "bulk", 512),
        ...endpointDescriptor(ENDPOINTS.bulkOut, "bulk", 512),
      ],
    };
  }

  inPipe(endpoint: number): InPipe | null {
    if (endpoint === ENDPOINTS.bulkIn) return this.#bulkIn;
    return endpoint === ENDPOINTS.notify ? this.#notify : null;
  }

  /** What is written to the line goes nowhere. */
  receive(): "done" {
    return "done";
  }

  control({ request, value }: Setup, data: Buffer): Buffer | null {
    switch (request) {
      case REQUESTS.setLines:
        this.movements.push({
          ...{ dtr: (value & 1) !== 0, rts: (value & 2) !== 0, atMs: realMs() },
        });
        return Buffer.alloc(0);
      case REQUESTS.setLineCoding:
        this.#lineCoding = Buffer.from(data);
        return Buffer.alloc(0);
      case REQUESTS.getLineCoding:
        return this.#lineCoding;
      case REQUESTS.sendBreak:
        return Buffer.alloc(0);
      default:
        return null;
    }
  }

  clearHalt(endpoint: number): void {
    this.inPipe(endpoint)?.clearHalt();
  }

  vanish(): void {
    this.#bulkIn.vanish();
    this.#notify.vanish();
    for (const listener of this.#onGone.splice(0)) listener();
  }

  onGone(listener: () => void): void {
    this.#onGone.push(listener);
  }
}
