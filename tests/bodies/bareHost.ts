import { connect, type Socket } from "node:net";
import { once } from "node:events";
import { ByteSink, ByteSource } from "./bytes.ts";
import { PACKET, packet, PacketCutter, type Packet } from "./packets.ts";

const GUID = Buffer.from("00112233445566778899aabbccddeeff", "hex");
const DATA_IN = 1;
const DATA_OUT = 2;

export type Reply = {
  readonly response: number;
  readonly parameters: readonly number[];
  readonly data: Buffer;
};

/** The barest host that can ask a responder: packets in, packets out, nothing understood. */
export class BareHost {
  readonly #command: Line;
  readonly #event: Line;
  #transaction = 0;

  private constructor(command: Line, event: Line) {
    this.#command = command;
    this.#event = event;
  }

  /** @returns the reason of an Init Fail where the body refuses. */
  static async connect(port: number): Promise<BareHost | { readonly failReason: number }> {
    const command = await Line.to(port);
    command.send(PACKET.initCommandRequest, new ByteSink().raw(GUID).name("bare").u32(0x10000));
    const acknowledged = await command.next();
    if (acknowledged.type !== PACKET.initCommandAck) {
      return { failReason: new ByteSource(acknowledged.payload).u32() };
    }
    const event = await Line.to(port);
    event.send(PACKET.initEventRequest, new ByteSink().raw(acknowledged.payload.subarray(0, 4)));
    await event.next();
    return new BareHost(command, event);
  }

  async openSession(): Promise<Reply> {
    this.#transaction = 0;
    return this.#ask(0x1002, [1], null);
  }

  ask(operation: number, parameters: readonly number[] = [], data?: Buffer): Promise<Reply> {
    this.#transaction += 1;
    return this.#ask(operation, parameters, data ?? null);
  }

  /** The transaction of the last request. */
  get transaction(): number {
    return this.#transaction;
  }

  /** The next event: code and parameters. */
  async event(): Promise<{ readonly code: number; readonly parameters: readonly number[] }> {
    for (;;) {
      const { type, payload } = await this.#event.next();
      if (type !== PACKET.event) continue;
      const source = new ByteSource(payload);
      const code = source.u16();
      source.u32();
      const parameters: number[] = [];
      while (source.left > 0) parameters.push(source.u32());
      return { code, parameters };
    }
  }

  close(): void {
    this.#command.close();
    this.#event.close();
  }

  async #ask(operation: number, parameters: readonly number[], out: Buffer | null): Promise<Reply> {
    const transaction = this.#transaction;
    const sink = new ByteSink()
      .u32(out ? DATA_OUT : DATA_IN)
      .u16(operation)
      .u32(transaction);
    for (const parameter of parameters) sink.u32(parameter);
    this.#command.send(PACKET.operationRequest, sink);
    if (out) {
      this.#command.send(PACKET.startData, new ByteSink().u32(transaction).u64(BigInt(out.length)));
      this.#command.send(PACKET.endData, new ByteSink().u32(transaction).raw(out));
    }
    const pieces: Buffer[] = [];
    for (;;) {
      const { type, payload } = await this.#command.next();
      const source = new ByteSource(payload);
      if (type === PACKET.data || type === PACKET.endData) {
        pieces.push(source.take(source.left).subarray(4));
      }
      if (type !== PACKET.operationResponse) continue;
      const response = source.u16();
      // An answer to something older: this host has no use for it.
      if (source.u32() !== transaction) continue;
      const reported: number[] = [];
      while (source.left > 0) reported.push(source.u32());
      return { response, parameters: reported, data: Buffer.concat(pieces) };
    }
  }
}

class Line {
  readonly #socket: Socket;
  readonly #arrived: Packet[] = [];
  readonly #waiting: ((packet: Packet) => void)[] = [];

  private constructor(socket: Socket) {
    this.#socket = socket;
    const cutter = new PacketCutter();
    socket.on("data", (chunk) => {
      for (const received of cutter.push(chunk)) {
        const waiter = this.#waiting.shift();
        if (waiter) waiter(received);
        else this.#arrived.push(received);
      }
    });
    socket.on("error", () => socket.destroy());
  }

  static async to(port: number): Promise<Line> {
    const socket = connect(port, "127.0.0.1");
    socket.setNoDelay(true);
    await once(socket, "connect");
    return new Line(socket);
  }

  send(type: number, sink: ByteSink): void {
    this.#socket.write(packet(type, sink.bytes()));
  }

  next(): Promise<Packet> {
    const arrived = this.#arrived.shift();
    if (arrived) return Promise.resolve(arrived);
    return new Promise((resolve) => this.#waiting.push(resolve));
  }

  close(): void {
    this.#socket.destroy();
  }
}
