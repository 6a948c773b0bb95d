import type { Socket } from "node:net";
import { encodeIpPacket, type IpPacket } from "../../core/ptp/ipPacket.ts";

/** What waits for a host that does not read, before events are given up, bytes. */
const BACKLOG_BYTES_MAX = 65_536;

/**
 * A TCP connection that sends whole packets, each with a write of its own, so that no two share a
 * segment unless the network makes them.
 */
export class PacketSocket {
  readonly #socket: Socket;
  #queue: Promise<void> = Promise.resolve();
  #waitingBytes = 0;

  constructor(socket: Socket) {
    this.#socket = socket;
    socket.setNoDelay(true);
    socket.setKeepAlive(true, 10_000);
    // What went wrong does not matter: "close" follows, and the host is gone.
    socket.on("error", () => socket.destroy());
  }

  /** Whether so much waits already that more would only pile up. */
  get isBacklogged(): boolean {
    return this.#waitingBytes > BACKLOG_BYTES_MAX;
  }

  /** Called once: a peer that has said its last word is gone, though the socket lives a moment more. */
  onClose(listener: () => void): void {
    let isReported = false;
    const tell = (): void => {
      if (!isReported) listener();
      isReported = true;
    };
    this.#socket.once("end", tell);
    this.#socket.once("close", tell);
  }

  /** Resolves when the system has taken the packet, or the connection is gone. */
  send(packet: IpPacket): Promise<void> {
    const bytes = encodeIpPacket(packet);
    this.#waitingBytes += bytes.byteLength;
    this.#queue = this.#queue.then(async () => {
      await this.#write(bytes);
      this.#waitingBytes -= bytes.byteLength;
    });
    return this.#queue;
  }

  /** Sends last words and closes. */
  endWith(bytes: Uint8Array): void {
    void this.#queue.then(() => this.#socket.end(bytes));
  }

  destroy(): void {
    this.#socket.destroy();
  }

  #write(bytes: Uint8Array): Promise<void> {
    return new Promise((resolve) => {
      if (this.#socket.destroyed) return resolve();
      const done = (): void => {
        this.#socket.off("close", done);
        resolve();
      };
      this.#socket.once("close", done);
      this.#socket.write(bytes, done);
    });
  }
}
