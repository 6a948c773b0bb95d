import { createServer, type AddressInfo, type Server, type Socket } from "node:net";
import { IpTransport, type IpTransportOptions } from "../../controller/cameras/ip/ipTransport.ts";
import { transactionId } from "../../core/ptp/ids.ts";
import {
  encodeIpPacket,
  IP_LENGTH_UNKNOWN,
  IP_PROTOCOL_VERSION,
  type IpPacket,
} from "../../core/ptp/ipPacket.ts";
import { createIpStream } from "../../core/ptp/ipStream.ts";
import {
  createMailbox,
  type Cutting,
  type FakePeer,
  type PeerRequest,
  type TransportKind,
} from "./fakePeer.ts";

const GUID = Uint8Array.from({ length: 16 }, (_, index) => index);

/** How the fake camera greets a connection; each may be replaced by a test. */
export type Greetings = {
  /** Answers the first packet of a command connection. */
  readonly onCommand: (socket: Socket) => void;
  readonly onEvent: (socket: Socket) => void;
};

const FRIENDLY: Greetings = {
  onCommand: (socket) =>
    socket.write(
      encodeIpPacket({
        kind: "initCommandAck",
        connectionNumber: 7,
        guid: GUID,
        friendlyName: "Fake",
        protocolVersion: IP_PROTOCOL_VERSION,
      }),
    ),
  onEvent: (socket) => socket.write(encodeIpPacket({ kind: "initEventAck" })),
};

/** A PTP/IP responder that does as a test says. */
export class FakeIpCamera implements FakePeer {
  readonly #server: Server;
  readonly #greetings: Greetings;
  readonly #requests = createMailbox<PeerRequest>();
  readonly #cancels = createMailbox<number>();
  readonly #introductions = createMailbox<IpPacket>();
  readonly #others = createMailbox<IpPacket>();
  #command: Socket | null = null;
  #event: Socket | null = null;
  #cutting: Cutting = "packet by packet";
  #held: Uint8Array[] = [];
  #sending: Promise<void> = Promise.resolve();

  constructor(greetings: Partial<Greetings> = {}) {
    this.#greetings = { ...FRIENDLY, ...greetings };
    this.#server = createServer((socket) => this.#accept(socket));
  }

  async listen(): Promise<number> {
    await new Promise<void>((resolve) => this.#server.listen(0, "127.0.0.1", resolve));
    return (this.#server.address() as AddressInfo).port;
  }

  nextRequest(): Promise<PeerRequest> {
    return this.#requests.take();
  }

  nextCancel(): Promise<number> {
    return this.#cancels.take();
  }

  /** The next InitCommandRequest or InitEventRequest. */
  nextIntroduction(): Promise<IpPacket> {
    return this.#introductions.take();
  }

  /** The next packet that is no request, data, introduction or cancel: probes, mostly. */
  nextOther(): Promise<IpPacket> {
    return this.#others.take();
  }

  startData(id: number, totalBytes: number | null): void {
    const total = totalBytes === null ? IP_LENGTH_UNKNOWN : BigInt(totalBytes);
    this.send({ kind: "startData", transactionId: transactionId(id), totalBytes: total });
  }

  data(id: number, payload: Uint8Array): void {
    this.send({ kind: "data", transactionId: transactionId(id), payload });
  }

  endData(id: number, payload: Uint8Array): void {
    this.send({ kind: "endData", transactionId: transactionId(id), payload });
  }

  respond(id: number, code: number, parameters: readonly number[] = []): void {
    this.send({ kind: "operationResponse", code, transactionId: transactionId(id), parameters });
  }

  event(code: number, id: number, parameters: readonly number[] = []): void {
    this.sendEvent({ kind: "event", code, transactionId: transactionId(id), parameters });
  }

  /** Any packet on the command connection. */
  send(packet: IpPacket): void {
    this.sendBytes(encodeIpPacket(packet));
  }

  sendEvent(packet: IpPacket): void {
    this.#event?.write(encodeIpPacket(packet));
  }

  /** Any bytes on the command connection. */
  sendBytes(bytes: Uint8Array): void {
    if (this.#cutting === "all at once") this.#held.push(bytes);
    else if (this.#cutting === "byte by byte") this.#sendByteByByte(bytes);
    else this.#command?.write(bytes);
  }

  cut(cutting: Cutting): void {
    this.#cutting = cutting;
  }

  async flush(): Promise<void> {
    if (this.#held.length > 0) this.#command?.write(Buffer.concat(this.#held));
    this.#held = [];
    await this.#sending;
  }

  dropEventConnection(): void {
    this.#event?.destroy();
  }

  vanish(): void {
    this.#command?.destroy();
    this.#event?.destroy();
  }

  async stop(): Promise<void> {
    this.vanish();
    await new Promise((resolve) => this.#server.close(resolve));
  }

  /** One write a byte, each given the time to leave on its own. */
  #sendByteByByte(bytes: Uint8Array): void {
    this.#sending = this.#sending.then(async () => {
      for (const byte of bytes) {
        this.#command?.write(Uint8Array.of(byte));
        await new Promise((resolve) => setImmediate(resolve));
      }
    });
  }

  #accept(socket: Socket): void {
    socket.setNoDelay(true);
    socket.on("error", () => undefined); // resets are part of the tests
    const stream = createIpStream();
    let request: PeerRequest | null = null;
    let dataOut: Uint8Array[] = [];
    socket.on("data", (bytes) => {
      for (const packet of stream.push(bytes)) {
        switch (packet.kind) {
          case "initCommandRequest":
            this.#introductions.put(packet);
            this.#command = socket;
            this.#greetings.onCommand(socket);
            break;
          case "initEventRequest":
            this.#introductions.put(packet);
            this.#event = socket;
            this.#greetings.onEvent(socket);
            break;
          case "operationRequest": {
            const { code: operationCode, transactionId: id, parameters } = packet;
            request = { operationCode, transactionId: id, parameters, dataOut: null };
            if (packet.dataPhaseInfo !== 2) this.#requests.put(request);
            dataOut = [];
            break;
          }
          case "startData":
            break;
          case "data":
            dataOut.push(packet.payload);
            break;
          case "endData":
            dataOut.push(packet.payload);
            if (request) this.#requests.put({ ...request, dataOut: Buffer.concat(dataOut) });
            break;
          case "cancel":
            this.#cancels.put(packet.transactionId);
            break;
          default:
            this.#others.put(packet);
        }
      }
    });
  }
}

/** A transport over TCP and the fake camera at its other end, not yet opened. */
export async function createIpRig(
  options: Partial<IpTransportOptions> = {},
  greetings: Partial<Greetings> = {},
): Promise<{ transport: IpTransport; peer: FakeIpCamera; stop(): Promise<void> }> {
  const peer = new FakeIpCamera(greetings);
  const port = await peer.listen();
  const transport = new IpTransport({
    host: "127.0.0.1",
    port,
    initiatorGuid: GUID,
    ...options,
  });
  return {
    transport,
    peer,
    stop: async () => {
      await transport.close();
      await peer.stop();
    },
  };
}

/** PTP/IP for the tests that every transport passes. */
export const IP_KIND: TransportKind = {
  name: "PTP/IP over TCP",
  join: async (options = {}) => {
    const rig = await createIpRig(options);
    await rig.transport.open(5_000);
    return rig;
  },
};
