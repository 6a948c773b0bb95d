import { asNightError, NightError } from "../../core/errors.ts";
import { EVENTS } from "../../core/ptp/events.ts";
import { transactionId } from "../../core/ptp/ids.ts";
import {
  DATA_PHASE_INFO,
  INIT_FAIL_REASONS,
  IP_LENGTH_UNKNOWN,
  IP_PROTOCOL_VERSION,
  type IpPacket,
} from "../../core/ptp/ipPacket.ts";
import { dataPhasePackets } from "../../core/ptp/ipStream.ts";
import { RESPONSES } from "../../core/ptp/responses.ts";
import { realMs } from "../clock.ts";
import { IpConnection } from "./ipConnection.ts";
import type {
  OperationAnswer,
  OperationRequest,
  TransactionOptions,
  Transport,
  TransportEvent,
} from "./transport.ts";

/** The name that a camera may show while it is connected. */
const FRIENDLY_NAME = "Nattvakt";
/** How long a cancelled transaction may take to end before the link is given up. */
const CANCEL_MS = 3_000;
/** Probing by advice for hosts: after 10 s of silence, three misses. No source; judgement. */
const PROBE_AFTER_MS = 10_000;
const PROBE_MISSES_MAX = 3;
/** Packets that belong to nothing, before the link counts as out of step. */
const STRAY_PACKETS_MAX = 200;
/** Transactions whose late answers are still recognised. */
const REMEMBERED_TRANSACTIONS = 64;
const DATA_BYTES_MAX = 1024 * 1024 * 1024;

/** The packets that can begin or refuse a connection. */
type Greeting = Extract<IpPacket, { kind: "initCommandAck" | "initEventAck" | "initFail" }>;

export type IpTransportOptions = {
  readonly host: string;
  readonly port: number;
  /** 16 bytes that name this installation; the same at every connection. */
  readonly initiatorGuid: Uint8Array;
  readonly cancelMs?: number;
  /** Silence on the event connection before a probe is sent; null: never probe. */
  readonly probeAfterMs?: number | null;
};

type Running = {
  readonly request: OperationRequest;
  readonly options: TransactionOptions;
  readonly sentMs: number;
  readonly timer: NodeJS.Timeout;
  settle(result: OperationAnswer | NightError): void;
  /** Bytes the camera announced; null: not yet, or it did not know. */
  announcedBytes: number | null;
  hasData: boolean;
  hasDataEnded: boolean;
  dataBytes: number;
  hasDiscarded: boolean;
  /** What is thrown if the camera confirms that it broke off. */
  cancelled: NightError | null;
};

/** PTP over two TCP connections. Source: the layouts and the advice of the protocol facts sheet. */
export class IpTransport implements Transport {
  readonly place: string;
  readonly #options: IpTransportOptions;
  #command: IpConnection | null = null;
  #event: IpConnection | null = null;
  #running: Running | null = null;
  #isOver = false;
  #strayPackets = 0;
  #recentIds: number[] = [];
  readonly #eventListeners: ((event: TransportEvent) => void)[] = [];
  readonly #lossListeners: ((error: NightError) => void)[] = [];
  #greet: ((result: Greeting | NightError) => void) | null = null;
  #probeTimer: NodeJS.Timeout | null = null;
  #isSilent = true;
  #probeMisses = 0;
  #answersProbes = false;

  constructor(options: IpTransportOptions) {
    this.#options = options;
    const host = options.host.includes(":") ? `[${options.host}]` : options.host;
    this.place = `${host}:${options.port}`;
  }

  async open(timeoutMs: number): Promise<void> {
    const deadlineMs = realMs() + timeoutMs;
    try {
      this.#command = await this.#connect(deadlineMs);
      const ack = await this.#exchange(this.#command, deadlineMs, {
        kind: "initCommandRequest",
        guid: this.#options.initiatorGuid,
        friendlyName: FRIENDLY_NAME,
        protocolVersion: IP_PROTOCOL_VERSION,
      });
      if (ack.kind !== "initCommandAck") throw this.#refusal(ack);
      this.#event = await this.#connect(deadlineMs);
      const eventAck = await this.#exchange(this.#event, deadlineMs, {
        kind: "initEventRequest",
        connectionNumber: ack.connectionNumber,
      });
      if (eventAck.kind !== "initEventAck") throw this.#refusal(eventAck);
      this.#watchSilence();
    } catch (thrown) {
      this.#isOver = true;
      this.#shut();
      throw asNightError(thrown, "camera.unreachable");
    }
  }

  transact(request: OperationRequest, options: TransactionOptions): Promise<OperationAnswer> {
    if (this.#isOver || this.#command === null) return Promise.reject(this.#gone());
    if (this.#running !== null) {
      const sentence = "two transactions at once were asked of one camera";
      return Promise.reject(new NightError("invariant.violated", sentence));
    }
    const command = this.#command;
    return new Promise((resolve, reject) => {
      const onAbort = (): void => this.#cancel(running, cancelledError());
      const timer = setTimeout(() => this.#cancel(running, this.#late()), options.timeoutMs);
      const running: Running = {
        request,
        options,
        sentMs: realMs(),
        timer,
        settle: (result) => {
          clearTimeout(timer);
          options.signal?.removeEventListener("abort", onAbort);
          this.#running = null;
          if (result instanceof NightError) reject(result);
          else resolve(result);
        },
        announcedBytes: null,
        hasData: false,
        hasDataEnded: false,
        dataBytes: 0,
        hasDiscarded: false,
        cancelled: null,
      };
      this.#running = running;
      this.#remember(request.transactionId);
      command.send({
        kind: "operationRequest",
        code: request.operationCode,
        dataPhaseInfo:
          request.dataOut === null
            ? DATA_PHASE_INFO.noneOrToInitiator
            : DATA_PHASE_INFO.toResponder,
        transactionId: transactionId(request.transactionId),
        parameters: request.parameters,
      });
      if (request.dataOut !== null) void this.#sendData(command, running, request.dataOut);
      options.signal?.addEventListener("abort", onAbort, { once: true });
      if (options.signal?.aborted) onAbort();
    });
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
    this.#running?.settle(this.#gone());
    return Promise.resolve();
  }

  async #connect(deadlineMs: number): Promise<IpConnection> {
    const { host, port } = this.#options;
    try {
      const connection = await IpConnection.open({ host, port, timeoutMs: deadlineMs - realMs() });
      connection.listen({
        packet: (packet, atMs) => this.#receive(connection, packet, atMs),
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

  /** Sends the first packet of a connection and waits for what the camera makes of it. */
  async #exchange(
    connection: IpConnection,
    deadlineMs: number,
    packet: IpPacket,
  ): Promise<Greeting> {
    return await new Promise((resolve, reject) => {
      const silence = new NightError(
        "camera.unreachable",
        `Something at ${this.place} takes the connection but does not answer as a camera would; check the address and restart the camera's network mode.`,
      );
      const timer = setTimeout(() => this.#greet?.(silence), Math.max(1, deadlineMs - realMs()));
      this.#greet = (result) => {
        clearTimeout(timer);
        this.#greet = null;
        if (result instanceof NightError) reject(result);
        else resolve(result);
      };
      connection.send(packet);
    });
  }

  #refusal(answer: Greeting): NightError {
    if (answer.kind === "initFail" && answer.reason === INIT_FAIL_REASONS.busy) {
      return new NightError(
        "camera.busy",
        `The camera at ${this.place} is connected to another program already; end that connection first.`,
      );
    }
    return new NightError(
      "camera.refused",
      `The camera at ${this.place} does not accept this computer; pair it in the camera's own menu.`,
      { reason: answer.kind === "initFail" ? answer.reason : answer.kind },
    );
  }

  async #sendData(command: IpConnection, running: Running, dataOut: Uint8Array): Promise<void> {
    const packets = dataPhasePackets(transactionId(running.request.transactionId), dataOut);
    for (const packet of packets) {
      // A camera may give up early and answer while data is still on its way.
      if (this.#running !== running || running.cancelled !== null) return;
      if (!command.send(packet)) await command.drained();
    }
  }

  #receive(connection: IpConnection, packet: IpPacket, atMs: number): void {
    if (this.#isOver) return;
    this.#isSilent = false;
    this.#probeMisses = 0;
    switch (packet.kind) {
      case "initCommandAck":
      case "initEventAck":
      case "initFail":
        if (this.#greet) this.#greet(packet);
        else this.#stray();
        return;
      case "probeRequest":
        connection.send({ kind: "probeResponse" });
        return;
      case "probeResponse":
        this.#answersProbes = true;
        return;
      case "event":
        return this.#receiveEvent(packet, atMs);
      case "cancel":
        return this.#receiveCancel(packet.transactionId);
      case "startData":
      case "data":
      case "endData":
      case "operationResponse": {
        const running = this.#runningOf(packet.transactionId);
        if (running === null) return;
        if (packet.kind === "operationResponse") return this.#finish(running, packet, atMs);
        return this.#receiveData(running, packet);
      }
      case "initCommandRequest":
      case "initEventRequest":
      case "operationRequest":
      case "unknown":
        return this.#stray();
    }
  }

  /** The running transaction if the packet is its own; late packets are passed over. */
  #runningOf(id: number): Running | null {
    if (this.#running?.request.transactionId === id) return this.#running;
    if (this.#recentIds.includes(id)) this.#stray();
    else this.#outOfStep("an answer to a question that was never asked");
    return null;
  }

  #receiveData(
    running: Running,
    packet: Extract<IpPacket, { kind: "startData" | "data" | "endData" }>,
  ): void {
    if (running.request.dataOut !== null || running.hasDataEnded) return this.#stray();
    if (packet.kind === "startData") {
      if (running.hasData) return this.#outOfStep("a data phase that began twice");
      running.hasData = true;
      if (packet.totalBytes !== IP_LENGTH_UNKNOWN)
        running.announcedBytes = Number(packet.totalBytes);
      return;
    }
    running.hasData = true;
    running.hasDataEnded = packet.kind === "endData";
    running.dataBytes += packet.payload.length;
    const bytesMax = running.options.dataBytesMax ?? DATA_BYTES_MAX;
    if (running.dataBytes > Math.min(running.announcedBytes ?? bytesMax, bytesMax)) {
      return this.#outOfStep("more data than was announced or asked for");
    }
    // What comes after a cancel is only read to stay in step.
    if (running.cancelled !== null) running.hasDiscarded = true;
    else if (packet.payload.length > 0) running.options.onData?.(packet.payload);
  }

  #finish(
    running: Running,
    response: Extract<IpPacket, { kind: "operationResponse" }>,
    atMs: number,
  ): void {
    const brokeOff =
      response.code === RESPONSES.TransactionCancelled ||
      response.code === RESPONSES.IncompleteTransfer;
    if (running.cancelled !== null && (brokeOff || running.hasDiscarded)) {
      return running.settle(running.cancelled);
    }
    const isWhole = running.announcedBytes === null || running.announcedBytes === running.dataBytes;
    running.settle({
      responseCode: response.code,
      parameters: response.parameters,
      dataBytes: running.dataBytes,
      isDataComplete: !running.hasData || (running.hasDataEnded && isWhole),
      sentMs: running.sentMs,
      answeredMs: atMs,
    });
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
    const running = this.#running;
    if (running === null || running.request.transactionId !== id) return;
    this.#awaitEnd(running, cancelledError());
  }

  #cancel(running: Running, reason: NightError): void {
    if (this.#running !== running || running.cancelled !== null) return;
    const packet = { kind: "cancel", transactionId: transactionId(running.request.transactionId) };
    this.#event?.send(packet as IpPacket);
    if (running.request.dataOut !== null) this.#command?.send(packet as IpPacket);
    this.#awaitEnd(running, reason);
  }

  #awaitEnd(running: Running, reason: NightError): void {
    if (running.cancelled !== null) return;
    running.cancelled = reason;
    clearTimeout(running.timer);
    const timer = setTimeout(() => {
      if (this.#running === running) this.#lose(new Error("a cancelled transaction never ended"));
    }, this.#options.cancelMs ?? CANCEL_MS);
    timer.unref();
  }

  /** Asks a silent camera whether it is there; one that never answered such a question is let be. */
  #watchSilence(): void {
    const afterMs = this.#options.probeAfterMs ?? PROBE_AFTER_MS;
    if (this.#options.probeAfterMs === null) return;
    this.#probeTimer = setInterval(() => {
      const wasSilent = this.#isSilent;
      this.#isSilent = true;
      if (!wasSilent) return;
      if (this.#answersProbes && this.#probeMisses >= PROBE_MISSES_MAX) {
        return this.#lose(new Error("no answer to probes"));
      }
      this.#probeMisses += 1;
      this.#event?.send({ kind: "probeRequest" });
    }, afterMs);
    this.#probeTimer.unref();
  }

  #remember(id: number): void {
    this.#recentIds.push(id);
    if (this.#recentIds.length > REMEMBERED_TRANSACTIONS) this.#recentIds.shift();
  }

  #stray(): void {
    this.#strayPackets += 1;
    if (this.#strayPackets > STRAY_PACKETS_MAX) this.#outOfStep("too many packets out of place");
  }

  #outOfStep(what: string): void {
    this.#lose(new NightError("ptp.malformed", `the camera sent ${what}`));
  }

  #lose(cause: Error | null): void {
    if (this.#isOver) return;
    if (this.#greet) return this.#greet(this.#lostWhileGreeting(cause));
    this.#isOver = true;
    this.#shut();
    const error = this.#gone(cause);
    this.#running?.settle(error);
    for (const listener of this.#lossListeners) listener(error);
  }

  #lostWhileGreeting(cause: Error | null): NightError {
    const sentence =
      cause instanceof NightError
        ? `What answers at ${this.place} does not speak a camera's language (PTP/IP); check the address.`
        : `The camera at ${this.place} closed the connection at once; it may be connected elsewhere or want to be paired first.`;
    const code = cause instanceof NightError ? "camera.unreachable" : "camera.refused";
    return new NightError(code, sentence, {}, { cause });
  }

  #shut(): void {
    if (this.#probeTimer) clearInterval(this.#probeTimer);
    this.#command?.close();
    this.#event?.close();
  }

  #gone(cause: Error | null = null): NightError {
    const sentence = `The link to the camera at ${this.place} is lost.`;
    return new NightError("camera.gone", sentence, { why: cause?.message }, { cause });
  }

  #late(): NightError {
    return new NightError("ptp.timeout", `The camera at ${this.place} did not answer in time.`);
  }
}

function cancelledError(): NightError {
  return new NightError("ptp.cancelled", "The transfer was broken off.");
}
