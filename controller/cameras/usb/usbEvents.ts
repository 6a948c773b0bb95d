import {
  CONTAINER_HEADER_BYTES,
  decodeContainer,
  decodeContainerHeader,
} from "../../../core/ptp/container.ts";
import { NightError } from "../../../core/errors.ts";
import type { TransportEvent } from "../transport.ts";

/**
 * Puts events together from the packets of the interrupt pipe, which may be smaller than an event.
 * Bytes that are no event are thrown away with the rest of their packet: events are news, and the
 * next one is whole again.
 */
export class UsbEvents {
  readonly #tell: (event: TransportEvent) => void;
  #pending: Buffer = Buffer.alloc(0);

  constructor(tell: (event: TransportEvent) => void) {
    this.#tell = tell;
  }

  push(packet: Uint8Array, atMs: number): void {
    this.#pending = Buffer.concat([this.#pending, packet]);
    try {
      while (this.#pending.length >= CONTAINER_HEADER_BYTES) {
        const { kind, containerBytes } = decodeContainerHeader(this.#pending);
        if (kind !== "event") throw new NightError("ptp.malformed", "no event");
        if (this.#pending.length < containerBytes) return;
        this.#take(containerBytes, atMs);
      }
    } catch (thrown) {
      if (!(thrown instanceof NightError)) throw thrown;
      this.#pending = Buffer.alloc(0);
    }
  }

  #take(containerBytes: number, atMs: number): void {
    const container = decodeContainer(this.#pending.subarray(0, containerBytes));
    this.#pending = this.#pending.subarray(containerBytes);
    if (container.kind === "data") return;
    const { code: eventCode, transactionId, parameters } = container;
    this.#tell({ eventCode, transactionId, parameters, atMs });
  }
}
