// A host written from the published byte layouts alone: it shares no code with the program, so
// that a mistake in the program's codecs cannot hide on both sides of the wire.
import { connect, type Socket } from "node:net";

const WAIT_MS = 10_000;

/** One packet as it came: its type, and the bytes after the 8-byte header. */
export type RawPacket = { readonly type: number; readonly body: Buffer };

export function u16(...values: readonly number[]): Buffer {
  const buffer = Buffer.alloc(values.length * 2);
  for (const [index, value] of values.entries()) buffer.writeUInt16LE(value, index * 2);
  return buffer;
}

export function u32(...values: readonly number[]): Buffer {
  const buffer = Buffer.alloc(values.length * 4);
  for (const [index, value] of values.entries()) buffer.writeUInt32LE(value >>> 0, index * 4);
  return buffer;
}

export function rawPacket(type: number, ...parts: readonly Buffer[]): Buffer {
  const body = Buffer.concat(parts);
  return Buffer.concat([u32(8 + body.length, type), body]);
}

/** A counted PTP string. */
export function rawString(text: string): Buffer {
  if (text === "") return Buffer.from([0]);
  return Buffer.concat([Buffer.from([text.length + 1]), Buffer.from(`${text}\0`, "utf16le")]);
}

/** A connection that cuts what it receives into packets and remembers both directions. */
export class RawConnection {
  readonly socket: Socket;
  readonly received: RawPacket[] = [];
  /** Every packet in the order in which it passed, for a capture file. */
  readonly traffic: { readonly isSent: boolean; readonly bytes: Buffer }[] = [];
  isClosed = false;
  #buffer = Buffer.alloc(0);
  #waiting: (() => void)[] = [];

  constructor(socket: Socket) {
    this.socket = socket;
    socket.on("error", () => {});
    socket.on("close", () => {
      this.isClosed = true;
      this.#wake();
    });
    socket.on("data", (chunk: Buffer) => {
      this.#buffer = Buffer.concat([this.#buffer, chunk]);
      while (this.#buffer.length >= 8) {
        const length = this.#buffer.readUInt32LE(0);
        if (this.#buffer.length < length) break;
        const bytes = this.#buffer.subarray(0, length);
        this.#buffer = this.#buffer.subarray(length);
        this.traffic.push({ isSent: false, bytes });
        this.received.push({ type: bytes.readUInt32LE(4), body: bytes.subarray(8) });
      }
      this.#wake();
    });
  }

  static open(port: number): Promise<RawConnection> {
    return new Promise((resolve, reject) => {
      const socket = connect(port, "127.0.0.1");
      socket.setNoDelay(true);
      socket.once("error", reject);
      socket.once("connect", () => resolve(new RawConnection(socket)));
    });
  }

  send(bytes: Buffer): void {
    this.traffic.push({ isSent: true, bytes });
    this.socket.write(bytes);
  }

  /** Waits until the condition holds; a bound in real time keeps a broken test from hanging. */
  async until(condition: () => boolean, what: string): Promise<void> {
    const deadline = Date.now() + WAIT_MS;
    while (!condition()) {
      if (Date.now() > deadline) throw new Error(`waited in vain for ${what}`);
      await new Promise<void>((resolve) => {
        const timer = setTimeout(resolve, 50);
        this.#waiting.push(() => {
          clearTimeout(timer);
          resolve();
        });
      });
    }
  }

  /** The next packet that has not been taken yet. */
  async take(): Promise<RawPacket> {
    await this.until(() => this.received.length > 0 || this.isClosed, "a packet");
    const packet = this.received.shift();
    if (packet === undefined) throw new Error("the connection closed");
    return packet;
  }

  async closed(): Promise<void> {
    await this.until(() => this.isClosed, "the connection to close");
  }

  #wake(): void {
    for (const wake of this.#waiting.splice(0)) wake();
  }
}

export type RawAnswer = {
  readonly code: number;
  readonly transactionId: number;
  readonly parameters: readonly number[];
  readonly data: Buffer | null;
};

export type RawEvent = {
  readonly code: number;
  readonly transactionId: number;
  readonly parameters: readonly number[];
};

const RAW_GUID = Buffer.from("00112233445566778899aabbccddeeff", "hex");

/** The command connection's first packet. */
export function initCommandRequest(name = "Host-1"): Buffer {
  return rawPacket(1, RAW_GUID, Buffer.from(`${name}\0`, "utf16le"), u32(0x00010000));
}

/** Both connections, and transactions over them. */
export class RawHost {
  readonly command: RawConnection;
  readonly events: RawConnection;
  #nextTransaction = 1;

  constructor(command: RawConnection, events: RawConnection) {
    this.command = command;
    this.events = events;
  }

  static async connect(port: number): Promise<RawHost> {
    const command = await RawConnection.open(port);
    command.send(initCommandRequest());
    const ack = await command.take();
    if (ack.type !== 2) throw new Error(`refused with packet ${ack.type}`);
    const events = await RawConnection.open(port);
    events.send(rawPacket(3, ack.body.subarray(0, 4)));
    const eventAck = await events.take();
    if (eventAck.type !== 4) throw new Error(`refused with packet ${eventAck.type}`);
    return new RawHost(command, events);
  }

  /** Connects and opens session 1. */
  static async connectWithSession(port: number): Promise<RawHost> {
    const host = await RawHost.connect(port);
    const { code } = await host.ask(0x1002, [1], { transactionId: 0 });
    if (code !== 0x2001) throw new Error(`OpenSession answered ${code.toString(16)}`);
    return host;
  }

  /** The number that the next transaction will have. */
  get nextTransaction(): number {
    return this.#nextTransaction;
  }

  /** Sends a request, with data if there is some, and does not wait. */
  request(
    code: number,
    parameters: readonly number[] = [],
    options: { readonly transactionId?: number; readonly data?: Buffer } = {},
  ): number {
    const { data } = options;
    const id = options.transactionId ?? this.#nextTransaction++;
    this.command.send(
      rawPacket(6, u32(data === undefined ? 1 : 2), u16(code), u32(id, ...parameters)),
    );
    if (data !== undefined) {
      this.command.send(rawPacket(9, u32(id, data.length, 0)));
      this.command.send(rawPacket(12, u32(id), data));
    }
    return id;
  }

  /** Reads a data phase, if one comes, and the response. */
  async answer(): Promise<RawAnswer> {
    const pieces: Buffer[] = [];
    let hasData = false;
    for (;;) {
      const { type, body } = await this.command.take();
      if (type === 9) hasData = true;
      else if (type === 10 || type === 12) pieces.push(body.subarray(4));
      else if (type === 7) {
        return {
          code: body.readUInt16LE(0),
          transactionId: body.readUInt32LE(2),
          parameters: wordsFrom(body, 6),
          data: hasData ? Buffer.concat(pieces) : null,
        };
      } else throw new Error(`packet ${type} where an answer was expected`);
    }
  }

  ask(
    code: number,
    parameters: readonly number[] = [],
    options: { readonly transactionId?: number; readonly data?: Buffer } = {},
  ): Promise<RawAnswer> {
    this.request(code, parameters, options);
    return this.answer();
  }

  /** Asks again while the camera is busy. */
  async askUntilReady(code: number, parameters: readonly number[] = []): Promise<RawAnswer> {
    const deadline = Date.now() + WAIT_MS;
    for (;;) {
      const answer = await this.ask(code, parameters);
      if (answer.code !== 0x2019 || Date.now() > deadline) return answer;
      await new Promise((resolve) => setTimeout(resolve, 5));
    }
  }

  async event(): Promise<RawEvent> {
    let packet = await this.events.take();
    for (; packet.type === 13; packet = await this.events.take()) this.events.send(rawPacket(14));
    const { type, body } = packet;
    if (type !== 8) throw new Error(`packet ${type} where an event was expected`);
    return {
      code: body.readUInt16LE(0),
      transactionId: body.readUInt32LE(2),
      parameters: wordsFrom(body, 6),
    };
  }

  /** The next event with this code; others before it are thrown away. */
  async eventOf(code: number): Promise<RawEvent> {
    for (;;) {
      const event = await this.event();
      if (event.code === code) return event;
    }
  }

  close(): void {
    this.command.socket.destroy();
    this.events.socket.destroy();
  }
}

function wordsFrom(body: Buffer, start: number): number[] {
  const words: number[] = [];
  for (let at = start; at + 4 <= body.length; at += 4) words.push(body.readUInt32LE(at));
  return words;
}
