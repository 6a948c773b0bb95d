import { createServer, type AddressInfo, type Server, type Socket } from "node:net";
import { setTimeout as wait } from "node:timers/promises";
import { ByteSink, ByteSource } from "./bytes.ts";
import { MadeUpCamera } from "./camera.ts";
import { OPERATION, RESPONSE } from "./codes.ts";
import type { Answer } from "./maker.ts";
import {
  dataPackets,
  eventPacket,
  INIT_FAIL,
  PACKET,
  packet,
  PacketCutter,
  readRequest,
  responsePacket,
  type Packet,
  type Request,
} from "./packets.ts";
import type { Traits } from "./switches.ts";

const GUID = Buffer.from("6e61747476616b742d626f6469657321", "hex");
const VERSION = 0x00010000;
/** As bright a twilight as gives a right exposure of half a second at ISO 1600 and f/2.8. */
export const SKY_CD_M2 = 0.04;
/** Of a packet that trickles, so much comes in pieces. */
const TRICKLED_BYTES = 2048;
const LINK_PIECE_BYTES = 16 * 1024;
const DATA_OUT = 2;

type Connected = {
  readonly number: number;
  readonly command: Wire;
  event: Wire | null;
  probe: NodeJS.Timeout | null;
  lastTransaction: number;
  /** A request whose data are still on their way. */
  awaiting: { readonly request: Request; readonly pieces: Buffer[] } | null;
  isAnswering: boolean;
  answers: number;
};

/** A packet as it went over the wire, for a dissector. */
export type Recorded = {
  readonly connection: number;
  readonly isFromHost: boolean;
  readonly bytes: Buffer;
};

/** A camera body on a TCP port, made from its traits alone. Source: CIPA DC-005. */
export class Responder {
  readonly camera: MadeUpCamera;
  /** Every packet, where a test asks for it. */
  readonly recorded: Recorded[] = [];
  readonly #traits: Traits;
  readonly #isRecording: boolean;
  readonly #server: Server;
  readonly #sockets = new Set<Socket>();
  #connected: Connected | null = null;
  #hungUpMs = -Infinity;
  #connectionsMade = 0;

  private constructor(traits: Traits, luminanceCdM2: number, isRecording: boolean) {
    this.#traits = traits;
    this.#isRecording = isRecording;
    this.camera = new MadeUpCamera(traits, luminanceCdM2);
    this.#server = createServer((socket) => this.#greet(socket));
  }

  static async start(
    traits: Traits,
    { luminanceCdM2 = SKY_CD_M2, isRecording = false } = {},
  ): Promise<Responder> {
    const responder = new Responder(traits, luminanceCdM2, isRecording);
    await new Promise<void>((resolve) => responder.#server.listen(0, "127.0.0.1", resolve));
    return responder;
  }

  get port(): number {
    return (this.#server.address() as AddressInfo).port;
  }

  /** Resolves when the body takes a host again after one that has gone. */
  async rearmed(): Promise<void> {
    await wait(Math.max(0, this.#hungUpMs + this.#traits.rearm.afterMs - performance.now()));
  }

  /** Resolves when the shutter, which is open, has been so for this long by the body's own diary. */
  async exposedFor(exposureMs: number): Promise<void> {
    const { openedMs } = this.camera.diary.openings.at(-1)!;
    await wait(Math.max(0, openedMs + exposureMs - performance.now()));
  }

  async stop(): Promise<void> {
    this.camera.stop();
    if (this.#connected?.probe) clearInterval(this.#connected.probe);
    for (const socket of this.#sockets) socket.destroy();
    await new Promise((resolve) => this.#server.close(resolve));
  }

  /** What a socket is for shows in its first packet. */
  #greet(socket: Socket): void {
    this.#sockets.add(socket);
    this.#connectionsMade += 1;
    const wire = new Wire(socket, this.#traits, this.#connectionsMade - 1, (recorded) => {
      if (this.#isRecording) this.recorded.push(recorded);
    });
    const cutter = new PacketCutter();
    socket.setNoDelay(true);
    socket.on("error", () => socket.destroy());
    socket.on("close", () => {
      this.#sockets.delete(socket);
      this.#lose(wire);
    });
    socket.on("data", (chunk) => {
      try {
        for (const received of cutter.push(chunk)) {
          wire.record(received);
          this.#take(wire, received);
        }
      } catch (thrown) {
        this.camera.diary.complaints.push(String(thrown));
        socket.destroy();
      }
    });
  }

  #take(wire: Wire, received: Packet): void {
    switch (received.type) {
      case PACKET.initCommandRequest:
        return this.#initCommand(wire, received.payload);
      case PACKET.initEventRequest:
        return this.#initEvent(wire, received.payload);
      case PACKET.operationRequest:
        return this.#request(readRequest(received.payload));
      case PACKET.startData:
      case PACKET.data:
      case PACKET.endData:
        return this.#data(received);
      case PACKET.probeRequest:
        return void wire.send(packet(PACKET.probeResponse));
      case PACKET.probeResponse:
        return;
      case PACKET.cancel:
        this.#connected?.command.cancel(new ByteSource(received.payload).u32());
        return;
      default:
        this.camera.diary.complaints.push(`packet type ${received.type} from a host`);
    }
  }

  #initCommand(wire: Wire, payload: Buffer): void {
    const { rearm } = this.#traits;
    const { diary } = this.camera;
    const isArming = performance.now() - this.#hungUpMs < rearm.afterMs;
    if (this.#connected || isArming) {
      diary.refusedConnections += 1;
      if (isArming && rearm.manner === "hangUp") return void wire.socket.destroy();
      return wire.refuse(INIT_FAIL.busy);
    }
    if (payload.length < 16 + 2) diary.complaints.push("an init request without GUID or name");
    diary.connections += 1;
    this.#connected = {
      number: diary.connections,
      command: wire,
      event: null,
      probe: null,
      lastTransaction: 0,
      awaiting: null,
      isAnswering: false,
      answers: 0,
    };
    wire.send(packet(PACKET.initCommandAck, this.#ack(diary.connections)));
  }

  #ack(connection: number): Buffer {
    const { greeting } = this.#traits;
    const name = { plain: "Made-up body", noVersion: "Body", noName: "", longName: "B".repeat(39) };
    const sink = new ByteSink().u32(connection).raw(GUID).name(name[greeting]);
    return greeting === "noVersion" ? sink.bytes() : sink.u32(VERSION).bytes();
  }

  #initEvent(wire: Wire, payload: Buffer): void {
    const connected = this.#connected;
    if (!connected || new ByteSource(payload).u32() !== connected.number) {
      return wire.refuse(INIT_FAIL.rejected);
    }
    connected.event = wire;
    this.camera.emit = (code, transaction, parameters) =>
      void wire.send(eventPacket(code, transaction, parameters));
    const { probes } = this.#traits;
    if (probes !== null) {
      connected.probe = setInterval(() => void wire.send(packet(PACKET.probeRequest)), probes);
    }
    wire.send(packet(PACKET.initEventAck));
  }

  #request(request: Request): void {
    const connected = this.#connected;
    const { complaints } = this.camera.diary;
    if (!connected?.event) {
      complaints.push("an operation before the event connection");
      return;
    }
    if (connected.isAnswering || connected.awaiting) complaints.push("two transactions at once");
    const { operation, transaction, dataPhase, parameters } = request;
    const isFirst = operation === OPERATION.openSession || connected.lastTransaction === 0;
    if (!isFirst && transaction !== connected.lastTransaction + 1) {
      complaints.push(`transaction ${transaction} after ${connected.lastTransaction}`);
    }
    connected.lastTransaction = transaction;
    if (dataPhase === DATA_OUT) {
      connected.awaiting = { request, pieces: [] };
      return;
    }
    const call = { operation, transaction, parameters, data: Buffer.alloc(0) };
    void this.#answer(connected, call);
  }

  #data({ type, payload }: Packet): void {
    const connected = this.#connected;
    const awaiting = connected?.awaiting;
    if (!connected || !awaiting) {
      this.camera.diary.complaints.push("data that belong to no request");
      return;
    }
    const source = new ByteSource(payload);
    if (source.u32() !== awaiting.request.transaction) {
      this.camera.diary.complaints.push("data of another transaction");
    }
    if (type === PACKET.startData) return;
    awaiting.pieces.push(source.take(source.left));
    if (type !== PACKET.endData) return;
    connected.awaiting = null;
    const data = Buffer.concat(awaiting.pieces);
    void this.#answer(connected, { ...awaiting.request, data });
  }

  async #answer(connected: Connected, call: Parameters<MadeUpCamera["perform"]>[0]): Promise<void> {
    const { pace, ids, refusalData } = this.#traits;
    const { command } = connected;
    connected.isAnswering = true;
    if (pace.answerMs > 0) await wait(pace.answerMs);
    const answer: Answer = await this.camera.perform(call);
    connected.answers += 1;
    const { transaction } = call;
    const isRefused = answer.response !== RESPONSE.ok;
    const isEmptyPhase = isRefused && refusalData === "empty" && READING.has(call.operation);
    const data = answer.data ?? (isEmptyPhase ? Buffer.alloc(0) : null);
    if (ids === "staleAnswer" && connected.answers % 7 === 0 && transaction > 1) {
      void command.send(responsePacket(RESPONSE.ok, transaction - 1));
    }
    if (data) {
      const parts = dataPackets(transaction, data).map((part) => command.send(part, transaction));
      await Promise.all(parts);
    }
    connected.isAnswering = false;
    const isWrong = ids === "wrongAnswer" && connected.answers === WRONG_ANSWER_AT;
    const reported = isWrong ? transaction + 100 : transaction;
    command.send(responsePacket(answer.response, reported, answer.parameters));
    if (ids === "doubleAnswer" && connected.answers % 9 === 0) {
      command.send(responsePacket(answer.response, transaction, answer.parameters));
    }
  }

  #lose(wire: Wire): void {
    const connected = this.#connected;
    if (!connected || (connected.command !== wire && connected.event !== wire)) return;
    if (connected.probe) clearInterval(connected.probe);
    this.#connected = null;
    this.#hungUpMs = performance.now();
    this.camera.emit = () => undefined;
    this.camera.hangUp();
    connected.command.socket.destroy();
    connected.event?.socket.destroy();
  }
}

/** The answer of a connection that goes out under a wrong transaction, once. */
const WRONG_ANSWER_AT = 40;

/** Operations whose data phase a refusal may leave empty or leave out. */
const READING = new Set<number>([
  OPERATION.getStorageInfo,
  OPERATION.getObjectInfo,
  OPERATION.getObject,
  OPERATION.getThumb,
  OPERATION.getPartialObject,
  OPERATION.getDevicePropDesc,
  OPERATION.getDevicePropValue,
]);

/** One socket, written to in order and at the body's pace. */
class Wire {
  readonly socket: Socket;
  readonly #pace: Traits["pace"];
  readonly #connection: number;
  readonly #record: (recorded: Recorded) => void;
  #queue: Promise<void> = Promise.resolve();
  #cancelled: number | null = null;

  constructor(
    socket: Socket,
    { pace }: Traits,
    connection: number,
    record: (recorded: Recorded) => void,
  ) {
    this.socket = socket;
    this.#pace = pace;
    this.#connection = connection;
    this.#record = record;
  }

  record({ type, payload }: Packet): void {
    const bytes = packet(type, payload);
    this.#record({ connection: this.#connection, isFromHost: true, bytes });
  }

  /** Data of a transaction that was cancelled meanwhile are left out. */
  send(bytes: Buffer, transaction: number | null = null): Promise<void> {
    this.#queue = this.#queue.then(async () => {
      if (transaction !== null && transaction === this.#cancelled) return;
      if (!this.socket.writable) return;
      this.#record({ connection: this.#connection, isFromHost: false, bytes });
      await this.#write(bytes);
    });
    return this.#queue;
  }

  /** Init Fail, then goodbye. */
  refuse(reason: number): void {
    const failure = packet(PACKET.initFail, new ByteSink().u32(reason).bytes());
    void this.send(failure).then(() => this.socket.end());
  }

  cancel(transaction: number): void {
    this.#cancelled = transaction;
  }

  async #write(bytes: Buffer): Promise<void> {
    const { pieceBytes, bytesPerSecond } = this.#pace;
    if (bytesPerSecond !== null && bytes.length > 1024) {
      for (let at = 0; at < bytes.length; at += LINK_PIECE_BYTES) {
        const piece = bytes.subarray(at, at + LINK_PIECE_BYTES);
        this.socket.write(piece);
        await wait((piece.length / bytesPerSecond) * 1000);
      }
      return;
    }
    if (pieceBytes !== null) {
      const end = Math.min(bytes.length, TRICKLED_BYTES);
      for (let at = 0; at < end; at += pieceBytes) {
        this.socket.write(bytes.subarray(at, Math.min(at + pieceBytes, end)));
        await new Promise(setImmediate);
      }
      this.socket.write(bytes.subarray(end));
      return;
    }
    this.socket.write(bytes);
  }
}
