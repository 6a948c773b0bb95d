import { asNightError, NightError } from "../../../core/errors.ts";
import { EVENTS } from "../../../core/ptp/events.ts";
import { transactionId } from "../../../core/ptp/ids.ts";
import { DATA_PHASE_INFO, IP_LENGTH_UNKNOWN, type IpPacket } from "../../../core/ptp/ipPacket.ts";
import { dataPhasePackets } from "../../../core/ptp/ipStream.ts";
import { realMs } from "../../timing/clock.ts";
import { IpConnection } from "./connection.ts";
import { IpGreeting } from "./greeting.ts";
import { IpSilence } from "./silence.ts";
import { RunningTransaction } from "../runningTransaction.ts";
import { Strays } from "../strays.ts";
import type {
  OperationAnswer,
  OperationRequest,
  TransactionOptions,
  Transport,
  TransportEvent,
} from "../transport.ts";
import { alreadyRunning, brokenOff, linkLost, outOfStep } from "../transportErrors.ts";

/** How long a cancelled transaction may take to end before the link is given up. */
const CANCEL_MS = 3_000;

export type IpTransportOptions = {
  readonly host: string;
  readonly port: number;
  /** 16 bytes that name this installation; the same at every connection. */
  readonly initiatorGuid: Uint8Array;
  readonly cancelMs?: number;
  /** Silence on the event connection before a probe is sent; null: never probe. */
  readonly probeAfterMs?: number | "never";
};

/** The transaction in hand, and how far its data phase is. */
type InHand = { readonly transaction: RunningTransaction; data: "none yet" | "begun" | "ended" };

/** PTP over two TCP connections. Source: the layouts and the advice of the protocol facts sheet. */
export class IpTransport implements Transport {
  readonly place: string;
  readonly #options: IpTransportOptions;
  readonly #greeting: IpGreeting;
  readonly #silence: IpSilence;
  readonly #strays = new Strays();
  #command: IpConnection | null = null;
  #event: IpConnection | null = null;
  #inHand: InHand | null = null;
  #isOver = false;
  readonly #eventListeners: ((event: TransportEvent) => void)[] = [];
  readonly #lossListeners: ((error: NightError) => void)[] = [];

  constructor(options: IpTransportOptions) {
    this.#options = options;
    const host = options.host.includes(":") ? `[${options.host}]` : options.host;
    this.place = `${host}:${options.port}`;
    this.#greeting = new IpGreeting(this.place);
    this.#silence = new IpSilence({
      probeAfterMs: options.probeAfterMs,
      probe: () => this.#event?.send({ kind: "probeRequest" }),
      onDead: () => this.#lose(new Error("no answer to probes")),
    });
  }

  async open(timeoutMs: number): Promise<void> {
    const deadlineMs = realMs() + timeoutMs;
    try {
      this.#command = await this.#connect(deadlineMs);
      const { initiatorGuid } = this.#options;
      const number = await this.#greeting.introduce(this.#command, initiatorGuid, deadlineMs);
      this.#event = await this.#connect(deadlineMs);
      await this.#greeting.join(this.#event, number, deadlineMs);
      this.#silence.start();
    } catch (thrown) {
      this.#isOver = true;
      this.#shut();
      throw asNightError(thrown, "camera.unreachable");
    }
  }

  transact(request: OperationRequest, options: TransactionOptions): Promise<OperationAnswer> {
    const command = this.#command;
    if (this.#isOver || command === null) return Promise.reject(linkLost(this.place));
    if (this.#inHand !== null) return Promise.reject(alreadyRunning());
    const transaction = new RunningTransaction(request, options);
    const inHand: InHand = { transaction, data: "none yet" };
    this.#inHand = inHand;
    this.#strays.remember(transaction.id);
    command.send({
      kind: "operationRequest",
      code: request.operationCode,
      dataPhaseInfo:
        request.dataOut === null ? DATA_PHASE_INFO.noneOrToInitiator : DATA_PHASE_INFO.toResponder,
      transactionId: transactionId(transaction.id),
      parameters: request.parameters,
    });
    if (request.dataOut !== null) void this.#sendData(command, transaction, request.dataOut);
    transaction.watch(this.place, (reason) => this.#cancel(transaction, reason));
    return transaction.answer;
  }

  onEvent(listener: (event: TransportEvent) => void): void {
    this.#eventListeners.push(listener);
  }

  onLost(listener: (error: NightError) => void): void {
    this.#lossListeners.push(listener);
  }

  close(): Promise<void> {
    this.#isOver = true;
    this.#shut();
    this.#letGo()?.settle(linkLost(this.place));
    return Promise.resolve();
  }

  async #connect(deadlineMs: number): Promise<IpConnection> {
    const { host, port } = this.#options;
    try {
      const connection = await IpConnection.open({ host, port, timeoutMs: deadlineMs - realMs() });
      connection.listen({
        packet: (packet, atMs) => this.#receive(connection, packet, atMs),
        part: ({ transactionId: id, payload }) => this.#receivePart(id, payload),
        end: (cause) => this.#lose(cause),
      });
      return connection;
    } catch (thrown) {
      throw new NightError(
        "camera.unreachable",
        `No camera answers at ${this.place}; check that it is switched on, in the same network and waiting for a computer.`,
        { place: this.place },
        { cause: thrown },
      );
    }
  }

  async #sendData(
    command: IpConnection,
    transaction: RunningTransaction,
    dataOut: Uint8Array,
  ): Promise<void> {
    for (const packet of dataPhasePackets(transactionId(transaction.id), dataOut)) {
      // A camera may give up early and answer while data is still on its way.
      if (transaction.isSettled || transaction.cancelled !== null) return;
      if (!command.send(packet)) await command.drained();
    }
  }

  /** @throws NightError `ptp.malformed`: the connection cannot be followed and ends. */
  #receive(connection: IpConnection, packet: IpPacket, atMs: number): void {
    if (this.#isOver) return;
    this.#silence.hear(packet.kind === "probeResponse" ? "a probe's answer" : "anything else");
    switch (packet.kind) {
      case "initCommandAck":
      case "initEventAck":
      case "initFail":
        if (!this.#greeting.hear(packet)) this.#strays.note();
        return;
      case "probeRequest":
        connection.send({ kind: "probeResponse" });
        return;
      case "probeResponse":
        return;
      case "event":
        return this.#receiveEvent(packet, atMs);
      case "cancel":
        return this.#receiveCancel(packet.transactionId);
      case "startData":
      case "data":
      case "endData":
      case "operationResponse":
        return this.#receiveAnswer(packet, atMs);
      case "initCommandRequest":
      case "initEventRequest":
      case "operationRequest":
      case "unknown":
        return this.#strays.note();
    }
  }

  #receiveAnswer(
    packet: Extract<IpPacket, { kind: "startData" | "data" | "endData" | "operationResponse" }>,
    atMs: number,
  ): void {
    const inHand = this.#inHand;
    if (inHand?.transaction.id !== packet.transactionId) {
      return this.#strays.noteAnswerTo(packet.transactionId);
    }
    if (packet.kind === "operationResponse") return this.#finish(inHand, packet, atMs);
    if (!takesData(inHand)) return this.#strays.note();
    if (packet.kind === "startData") {
      if (inHand.data === "begun") throw outOfStep("a data phase that began twice");
      const { totalBytes } = packet;
      inHand.transaction.announce(totalBytes === IP_LENGTH_UNKNOWN ? null : Number(totalBytes));
      inHand.data = "begun";
      return;
    }
    inHand.data = packet.kind === "endData" ? "ended" : "begun";
    inHand.transaction.takeData(packet.payload);
  }

  /** Payload of a packet that is not whole yet; whether the packet is in place is seen when it is. */
  #receivePart(id: number, payload: Uint8Array): void {
    const inHand = this.#inHand;
    if (this.#isOver || inHand?.transaction.id !== id || !takesData(inHand)) return;
    inHand.data = "begun";
    inHand.transaction.takeData(payload);
  }

  #finish(
    inHand: InHand,
    response: Extract<IpPacket, { kind: "operationResponse" }>,
    atMs: number,
  ): void {
    const { announcedBytes, dataBytes } = inHand.transaction;
    const isWhole = announcedBytes === null || announcedBytes === dataBytes;
    const isDataComplete = inHand.data === "none yet" || (inHand.data === "ended" && isWhole);
    this.#letGo()?.conclude({ ...response, atMs }, isDataComplete);
  }

  #receiveEvent(packet: Extract<IpPacket, { kind: "event" }>, atMs: number): void {
    if (packet.code === EVENTS.CancelTransaction) {
      return this.#receiveCancel(packet.transactionId);
    }
    const { code: eventCode, transactionId: id, parameters } = packet;
    for (const listener of this.#eventListeners) {
      listener({ eventCode, transactionId: id, parameters, atMs });
    }
  }

  /** The camera breaks off: its response follows, at the latest when a cancel's would. */
  #receiveCancel(id: number): void {
    const transaction = this.#inHand?.transaction;
    if (transaction?.id === id) this.#awaitEnd(transaction, brokenOff());
  }

  #cancel(transaction: RunningTransaction, reason: NightError): void {
    if (transaction.isSettled || transaction.cancelled !== null) return;
    const packet: IpPacket = { kind: "cancel", transactionId: transactionId(transaction.id) };
    this.#event?.send(packet);
    if (transaction.request.dataOut !== null) this.#command?.send(packet);
    this.#awaitEnd(transaction, reason);
  }

  #awaitEnd(transaction: RunningTransaction, reason: NightError): void {
    if (transaction.cancelled !== null) return;
    transaction.markCancelled(reason);
    const timer = setTimeout(() => {
      if (!transaction.isSettled) this.#lose(new Error("a cancelled transaction never ended"));
    }, this.#options.cancelMs ?? CANCEL_MS);
    timer.unref();
  }

  /** The next transaction may begin. @returns the one that was in hand. */
  #letGo(): RunningTransaction | null {
    const transaction = this.#inHand?.transaction ?? null;
    this.#inHand = null;
    return transaction;
  }

  #lose(cause: Error | null): void {
    if (this.#isOver || this.#greeting.lose(cause)) return;
    this.#isOver = true;
    this.#shut();
    const error = linkLost(this.place, cause);
    this.#letGo()?.settle(error);
    for (const listener of this.#lossListeners) listener(error);
  }

  #shut(): void {
    this.#silence.stop();
    this.#command?.close();
    this.#event?.close();
  }
}

/** Data that goes to the camera, or that has ended, brings no more of it. */
function takesData({ transaction, data }: InHand): boolean {
  return transaction.request.dataOut === null && data !== "ended";
}
