import { EVENTS } from "../../core/ptp/events.ts";
import { transactionId, type TransactionId } from "../../core/ptp/ids.ts";
import { DATA_PHASE_INFO, IP_LENGTH_UNKNOWN, type IpPacket } from "../../core/ptp/ipPacket.ts";
import { dataPhasePackets } from "../../core/ptp/ipStream.ts";
import { RESPONSES } from "../../core/ptp/responses.ts";
import type { IpTiming } from "./ipTiming.ts";
import type { PacketSocket } from "./packetSocket.ts";
import { Responder, type ResponderEvent, type ResponderRequest } from "./responder.ts";
import type { VirtualCamera } from "./virtualCamera.ts";

/** Signs of life that may fail to come before the host counts as gone. */
const PROBES_MISSED_MAX = 3;
/** Bytes of a data packet: below a loopback segment, so that a packet is a segment there. */
const PIECE_BYTES = 32_768;
/** The largest data a host may send; nothing it can set is longer. */
const DATA_IN_BYTES_MAX = 65_536;

type OperationPacket = Extract<IpPacket, { kind: "operationRequest" }>;

/** A data phase from the host that has not ended yet. */
type Incoming = {
  readonly request: OperationPacket;
  /** Null until StartData. */
  totalBytes: bigint | null;
  receivedBytes: number;
  readonly pieces: Uint8Array[];
  /** More than announced, twice begun, too long: swallowed to the end, then refused. */
  isBroken: boolean;
  readonly deadline: NodeJS.Timeout;
};

type HostOptions = {
  readonly camera: VirtualCamera;
  readonly command: PacketSocket;
  readonly connectionNumber: number;
  readonly timing: IpTiming;
  readonly onGone: (why: string) => void;
};

/** One connected host: its two connections, its transactions one after the other, its events. */
export class IpHost {
  readonly #options: HostOptions;
  readonly #responder: Responder;
  #events: PacketSocket | null = null;
  #eventDeadline: NodeJS.Timeout;
  #probeTimer: NodeJS.Timeout | null = null;
  #probesMissed = 0;
  #incoming: Incoming | null = null;
  /** Transactions that are being answered or wait for it, and whether the host has given them up. */
  readonly #running = new Map<TransactionId, { isCancelled: boolean }>();
  #work: Promise<void> = Promise.resolve();
  #hasLostEvents = false;
  #isGone = false;

  constructor(options: HostOptions) {
    this.#options = options;
    this.#responder = new Responder(options.camera, (event) => this.#sendEvent(event));
    options.command.onClose(() => this.#end("its command connection closed"));
    this.#eventDeadline = setTimeout(
      () => this.drop("its event connection never came"),
      options.timing.eventConnectionMs,
    );
  }

  /** Takes the second connection; false when it is not ours or there is one already. */
  attachEvents(socket: PacketSocket, connectionNumber: number): boolean {
    if (this.#events !== null || connectionNumber !== this.#options.connectionNumber) return false;
    clearTimeout(this.#eventDeadline);
    this.#events = socket;
    socket.onClose(() => this.drop("its event connection closed"));
    const { probeMs } = this.#options.timing;
    if (probeMs !== null) {
      this.#probeTimer = setInterval(() => this.#probe(), probeMs);
      this.#probeTimer.unref();
    }
    return true;
  }

  onCommandPacket(packet: IpPacket): void {
    switch (packet.kind) {
      case "operationRequest":
        return this.#onRequest(packet);
      case "startData":
      case "data":
      case "endData":
        return this.#onData(packet);
      default:
        return this.#onEither(packet, this.#options.command);
    }
  }

  onEventPacket(packet: IpPacket): void {
    this.#probesMissed = 0;
    if (this.#events !== null) this.#onEither(packet, this.#events);
  }

  /** Breaks both connections. */
  drop(why: string): void {
    this.#options.command.destroy();
    this.#events?.destroy();
    this.#end(why);
  }

  #end(why: string): void {
    if (this.#isGone) return;
    this.#isGone = true;
    this.#stopReceiving();
    clearTimeout(this.#eventDeadline);
    if (this.#probeTimer !== null) clearInterval(this.#probeTimer);
    for (const running of this.#running.values()) running.isCancelled = true;
    this.#responder.detach();
    this.#events?.destroy();
    this.#options.onGone(why);
  }

  /** Probes and cancels come on either connection, in the middle of anything. */
  #onEither(packet: IpPacket, socket: PacketSocket): void {
    if (packet.kind === "probeRequest") return void socket.send({ kind: "probeResponse" });
    if (packet.kind === "cancel") return this.#cancel(packet.transactionId);
    if (packet.kind === "event" && packet.code === EVENTS.CancelTransaction) {
      return this.#cancel(packet.transactionId);
    }
    // Anything else is not for a camera, or not known to it: skipped.
  }

  #onRequest(packet: OperationPacket): void {
    // A host that gives up a data phase by asking something else gets no answer to the first.
    this.#stopReceiving();
    // Hosts differ in what they announce, so the operation decides where we know it.
    const sendsData =
      this.#responder.takesData(packet.code) ||
      packet.dataPhaseInfo === DATA_PHASE_INFO.toResponder;
    if (!sendsData) return this.#run(packet, null);
    this.#incoming = {
      request: packet,
      totalBytes: null,
      receivedBytes: 0,
      pieces: [],
      isBroken: false,
      deadline: setTimeout(
        () => this.#cutShort(packet.transactionId),
        this.#options.timing.dataInMs,
      ).unref(),
    };
  }

  #stopReceiving(): void {
    clearTimeout(this.#incoming?.deadline);
    this.#incoming = null;
  }

  /** The data never came, or not all of it. */
  #cutShort(id: TransactionId): void {
    this.#stopReceiving();
    this.#respondAlone(id, RESPONSES.IncompleteTransfer);
  }

  #onData(packet: Extract<IpPacket, { kind: "startData" | "data" | "endData" }>): void {
    const incoming = this.#incoming;
    // Late data of a transaction that is over: nobody waits for it.
    if (incoming === null || packet.transactionId !== incoming.request.transactionId) return;
    if (packet.kind === "startData") {
      if (incoming.totalBytes !== null) incoming.isBroken = true;
      incoming.totalBytes = packet.totalBytes;
      return;
    }
    incoming.receivedBytes += packet.payload.byteLength;
    if (incoming.receivedBytes <= DATA_IN_BYTES_MAX) incoming.pieces.push(packet.payload.slice());
    else incoming.isBroken = true;
    if (packet.kind === "data") return;
    this.#stopReceiving();
    const isWhole =
      !incoming.isBroken &&
      (incoming.totalBytes === BigInt(incoming.receivedBytes) ||
        incoming.totalBytes === IP_LENGTH_UNKNOWN);
    if (isWhole) this.#run(incoming.request, Buffer.concat(incoming.pieces));
    else this.#respondAlone(incoming.request.transactionId, RESPONSES.IncompleteTransfer);
  }

  #cancel(id: TransactionId): void {
    if (this.#incoming?.request.transactionId === id) {
      this.#stopReceiving();
      return this.#respondAlone(id, RESPONSES.TransactionCancelled);
    }
    // A cancel for a transaction that is over is ignored. Source: MTP 1.1 G.2.2.
    const running = this.#running.get(id);
    if (running !== undefined) running.isCancelled = true;
  }

  #respondAlone(id: TransactionId, code: number): void {
    this.#work = this.#work.then(() =>
      this.#options.command.send({
        kind: "operationResponse",
        code,
        transactionId: id,
        parameters: [],
      }),
    );
  }

  /** Transactions queue up, since a careless host may ask before the last answer has come. */
  #run(packet: OperationPacket, data: Uint8Array | null): void {
    const running = { isCancelled: false };
    this.#running.set(packet.transactionId, running);
    this.#work = this.#work.then(() => this.#answer({ ...packet, data }, running));
  }

  async #answer(
    request: ResponderRequest,
    running: { readonly isCancelled: boolean },
  ): Promise<void> {
    if (this.#isGone) return;
    const id = request.transactionId;
    const answer = await this.#responder.handle(request);
    if (answer.data !== null) await this.#sendData(id, answer.data, running);
    this.#running.delete(id);
    const isCancelled = running.isCancelled && answer.data !== null;
    await this.#options.command.send({
      kind: "operationResponse",
      code: isCancelled ? RESPONSES.TransactionCancelled : answer.code,
      transactionId: id,
      parameters: isCancelled ? [] : answer.parameters,
    });
    answer.afterwards?.();
  }

  /** Sends a data phase piece by piece; a cancelled one is ended at once with what has gone. */
  async #sendData(
    id: TransactionId,
    data: Uint8Array,
    running: { readonly isCancelled: boolean },
  ): Promise<void> {
    for (const packet of dataPhasePackets(id, data, PIECE_BYTES)) {
      if (running.isCancelled && packet.kind !== "startData") {
        await this.#options.command.send({
          kind: "endData",
          transactionId: id,
          payload: new Uint8Array(),
        });
        return;
      }
      await this.#options.command.send(packet);
      // Lets a cancel be read between two pieces.
      if (packet.kind === "data") await new Promise(setImmediate);
    }
  }

  /** A host that does not read its events loses them, and hears that it did. */
  #sendEvent(event: ResponderEvent): void {
    const socket = this.#events;
    if (socket === null) return;
    if (socket.isBacklogged) {
      this.#hasLostEvents = true;
      return;
    }
    if (this.#hasLostEvents) {
      this.#hasLostEvents = false;
      void socket.send({
        kind: "event",
        code: EVENTS.UnreportedStatus,
        transactionId: transactionId(0xffffffff),
        parameters: [],
      });
    }
    void socket.send({ kind: "event", ...event });
  }

  #probe(): void {
    if (this.#probesMissed >= PROBES_MISSED_MAX) {
      return this.drop(`no sign of life after ${PROBES_MISSED_MAX} probes`);
    }
    this.#probesMissed += 1;
    void this.#events?.send({ kind: "probeRequest" });
  }
}
