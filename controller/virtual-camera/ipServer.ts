import { createServer, type AddressInfo, type Server, type Socket } from "node:net";
import { NightError } from "../../core/errors.ts";
import {
  encodeIpPacket,
  INIT_FAIL_REASONS,
  IP_PROTOCOL_VERSION,
  type IpPacket,
} from "../../core/ptp/ipPacket.ts";
import { createIpStream } from "../../core/ptp/ipStream.ts";
import { IpHost } from "./ipHost.ts";
import type { IpTiming } from "./ipTiming.ts";
import { PacketSocket } from "./packetSocket.ts";
import type { VirtualCamera } from "./virtualCamera.ts";

type ServerOptions = {
  readonly camera: VirtualCamera;
  /** 16 bytes, the camera's own. */
  readonly guid: Uint8Array;
  readonly friendlyName: string;
  readonly timing: IpTiming;
  readonly report: (line: string) => void;
};

/**
 * The camera on a network: accepts one host with its two connections, tells them apart by their
 * first packets, and refuses a second host while the first is there.
 */
export class IpServer {
  readonly #options: ServerOptions;
  readonly #server: Server;
  readonly #sockets = new Set<PacketSocket>();
  #host: IpHost | null = null;
  #lastConnectionNumber = 0;

  constructor(options: ServerOptions) {
    this.#options = options;
    this.#server = createServer((socket) => this.#accept(socket));
  }

  /** @throws NightError `port.taken` when another program has the port. */
  listen(host: string, port: number): Promise<{ readonly host: string; readonly port: number }> {
    return new Promise((resolve, reject) => {
      this.#server.once("error", (error: NodeJS.ErrnoException) =>
        reject(listenError(error, port)),
      );
      this.#server.listen(port, host, () => {
        const address = this.#server.address() as AddressInfo;
        resolve({ host: address.address, port: address.port });
      });
    });
  }

  /** Breaks both connections of the host, as a pulled cable would. */
  dropHost(): void {
    this.#host?.drop("the link was made to fail");
  }

  async close(): Promise<void> {
    this.dropHost();
    for (const socket of this.#sockets) socket.destroy();
    if (!this.#server.listening) return;
    await new Promise((resolve) => this.#server.close(resolve));
  }

  #accept(raw: Socket): void {
    const socket = new PacketSocket(raw);
    this.#sockets.add(socket);
    const stream = createIpStream();
    const deadline = setTimeout(() => socket.destroy(), this.#options.timing.firstPacketMs);
    let onPacket = (packet: IpPacket): void => {
      clearTimeout(deadline);
      onPacket = this.#introduce(socket, packet);
    };
    raw.on("data", (bytes) => {
      try {
        for (const packet of stream.push(bytes)) onPacket(packet);
      } catch (thrown) {
        if (!(thrown instanceof NightError)) throw thrown;
        this.#options.report(`a stream that cannot be followed: ${thrown.message}`);
        socket.destroy();
      }
    });
    raw.once("close", () => {
      clearTimeout(deadline);
      this.#sockets.delete(socket);
    });
  }

  /** Decides by the first packet what a connection is; the answer takes the packets after it. */
  #introduce(socket: PacketSocket, packet: IpPacket): (packet: IpPacket) => void {
    if (packet.kind === "initCommandRequest") return this.#introduceCommand(socket, packet);
    if (packet.kind === "initEventRequest") return this.#introduceEvent(socket, packet);
    this.#options.report(`a connection that began with ${packet.kind}`);
    return refuse(socket, INIT_FAIL_REASONS.unspecified);
  }

  #introduceCommand(
    socket: PacketSocket,
    packet: Extract<IpPacket, { kind: "initCommandRequest" }>,
  ): (packet: IpPacket) => void {
    if (this.#host !== null) {
      this.#options.report(`refused ${packet.friendlyName}: another host is connected`);
      return refuse(socket, INIT_FAIL_REASONS.busy);
    }
    this.#lastConnectionNumber += 1;
    const host = new IpHost({
      camera: this.#options.camera,
      command: socket,
      connectionNumber: this.#lastConnectionNumber,
      timing: this.#options.timing,
      onGone: (why) => {
        this.#options.report(`${packet.friendlyName} is gone: ${why}`);
        if (this.#host === host) this.#host = null;
      },
    });
    this.#host = host;
    this.#options.report(`${packet.friendlyName} connected`);
    socket.send({
      kind: "initCommandAck",
      connectionNumber: this.#lastConnectionNumber,
      guid: this.#options.guid,
      friendlyName: this.#options.friendlyName,
      protocolVersion: IP_PROTOCOL_VERSION,
    });
    return (next) => host.onCommandPacket(next);
  }

  #introduceEvent(
    socket: PacketSocket,
    packet: Extract<IpPacket, { kind: "initEventRequest" }>,
  ): (packet: IpPacket) => void {
    const host = this.#host;
    if (host === null || !host.attachEvents(socket, packet.connectionNumber)) {
      return refuse(socket, INIT_FAIL_REASONS.rejectedInitiator);
    }
    socket.send({ kind: "initEventAck" });
    return (next) => host.onEventPacket(next);
  }
}

function refuse(socket: PacketSocket, reason: number): (packet: IpPacket) => void {
  socket.endWith(encodeIpPacket({ kind: "initFail", reason }));
  return () => {
    // What a refused host still sends is nobody's business.
  };
}

function listenError(error: NodeJS.ErrnoException, port: number): NightError {
  if (error.code === "EADDRINUSE") {
    return new NightError("port.taken", `port ${port} is taken; choose another with --port`, {
      port,
    });
  }
  return new NightError("camera.unreachable", `cannot listen: ${error.message}`, { port });
}
