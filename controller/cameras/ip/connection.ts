import { connect, type Socket } from "node:net";
import { encodeIpPacket, type IpPacket } from "../../../core/ptp/ipPacket.ts";
import { createIpStream, type DataPart } from "../../../core/ptp/ipStream.ts";
import { realMs } from "../../timing/clock.ts";

/** Silence after which the operating system begins to ask whether the peer still lives. */
const TCP_KEEP_ALIVE_MS = 10_000;
/** How long a closing connection may take to hand over its last bytes. */
const LINGER_MS = 300;

/** What becomes of a connection; each is called until `end` has been. */
type IpConnectionListener = {
  /** One whole packet, with the real time at which its last byte was read. */
  packet(packet: IpPacket, atMs: number): void;
  /** Payload of a data packet that is not whole yet; the packet then brings the rest. */
  part(part: DataPart): void;
  /** The connection is over, by an error or because the peer closed it (`null`). */
  end(cause: Error | null): void;
};

/** One of the two TCP connections of a PTP/IP link: bytes in and out as whole packets. */
export class IpConnection {
  readonly #socket: Socket;
  #listener: IpConnectionListener | null = null;
  #isOver = false;

  private constructor(socket: Socket) {
    this.#socket = socket;
  }

  /** Connects within the time or rejects with what the operating system says. */
  static async open(options: {
    readonly host: string;
    readonly port: number;
    readonly timeoutMs: number;
  }): Promise<IpConnection> {
    const socket = connect({ host: options.host, port: options.port, noDelay: true });
    socket.setKeepAlive(true, TCP_KEEP_ALIVE_MS);
    await new Promise<void>((resolve, reject) => {
      const timer = setTimeout(
        () => socket.destroy(new Error("timed out")),
        Math.max(1, options.timeoutMs),
      );
      socket.once("connect", () => {
        clearTimeout(timer);
        socket.removeListener("error", reject);
        resolve();
      });
      socket.once("error", (error) => {
        clearTimeout(timer);
        reject(error);
      });
    });
    return new IpConnection(socket);
  }

  /** Begins to read; whatever came before is reported first. */
  listen(listener: IpConnectionListener): void {
    this.#listener = listener;
    const stream = createIpStream((part) => this.#listener?.part(part));
    this.#socket.on("data", (bytes) => {
      const atMs = realMs();
      try {
        for (const packet of stream.push(bytes)) this.#listener?.packet(packet, atMs);
      } catch (thrown) {
        this.#finish(thrown as Error);
      }
    });
    this.#socket.once("error", (error) => this.#finish(error));
    this.#socket.once("close", () => this.#finish(null));
    this.#socket.once("end", () => this.#finish(null));
  }

  /** Hands one packet to the operating system in one write. @returns false: wait for `drained`. */
  send(packet: IpPacket): boolean {
    return !this.#isOver && this.#socket.write(encodeIpPacket(packet));
  }

  /** Waits until what was sent has left this process, or the connection is over. */
  async drained(): Promise<void> {
    if (this.#isOver || !this.#socket.writableNeedDrain) return;
    await new Promise<void>((resolve) => {
      this.#socket.once("drain", resolve);
      this.#socket.once("close", resolve);
    });
  }

  /** Ends the connection without telling the listener. */
  close(): void {
    this.#listener = null;
    this.#isOver = true;
    this.#socket.removeAllListeners("data");
    this.#socket.on("error", () => undefined); // nobody is interested any more
    this.#socket.end();
    const timer = setTimeout(() => this.#socket.destroy(), LINGER_MS);
    timer.unref();
    this.#socket.once("close", () => clearTimeout(timer));
  }

  #finish(cause: Error | null): void {
    if (this.#isOver) return;
    this.#isOver = true;
    const listener = this.#listener;
    this.close();
    this.#socket.destroy();
    listener?.end(cause);
  }
}
