import { NightError } from "../../core/errors.ts";
import { deviceInfo, type DeviceInfo } from "../../core/ptp/datasets/deviceInfo.ts";
import {
  decodeDevicePropDesc,
  decodePropertyValue,
  encodePropertyValue,
  type DevicePropDesc,
} from "../../core/ptp/datasets/devicePropDesc.ts";
import { decodeHandles } from "../../core/ptp/datasets/handles.ts";
import { objectInfo, type ObjectInfo } from "../../core/ptp/datasets/objectInfo.ts";
import { storageInfo, type StorageInfo } from "../../core/ptp/datasets/storageInfo.ts";
import type { DataType, PtpValue } from "../../core/ptp/dataTypes.ts";
import {
  ALL,
  nextTransactionId,
  NO_TRANSACTION,
  transactionId,
  type TransactionId,
} from "../../core/ptp/ids.ts";
import { OPERATIONS, type Operation } from "../../core/ptp/operations.ts";
import { propertyLine } from "../../core/ptp/properties.ts";
import { RESPONSES, responseName } from "../../core/ptp/responses.ts";
import { pauseFor, REAL_TIME, type RealTime } from "../timing/clock.ts";
import { BusyWait, DEFAULT_BUSY_POLL_MS, patientPauses } from "../timing/whileBusy.ts";
import { CollectedData } from "./collectedData.ts";
import type { OperationAnswer, Transport } from "./transport.ts";

/** Any number but 0 and 0xFFFFFFFF. Source: MTP 1.1 §4.4.2. */
const SESSION_ID = 1;
/** No session comes this far: a thousand transactions a second for twelve days. */
const AHEAD_OF_ANY = transactionId(0x40000000);
const ANSWER_MS = 10_000;
/** A whole file over a slow radio link. */
const OBJECT_MS = 120_000;
const DATASET_BYTES_MAX = 16 * 1024 * 1024;
/** A raw file of 150 megapixels at 16 bits, stored plain, has 300 MB; nothing in reach is larger. Judgement. */
const OBJECT_BYTES_MAX = 400_000_000;

/** How one operation is carried out; times are real milliseconds. */
export type OperationOptions = {
  readonly timeoutMs?: number;
  /** How long a busy camera is asked again; 0, the default: `camera.busy` at once. */
  readonly busyMsMax?: number;
  /** More data than this is refused, whatever the camera goes on sending; left out: what a picture may have. */
  readonly dataBytesMax?: number;
  readonly signal?: AbortSignal;
  /** What is asked, for the sentence of a refusal, as in "ExposureTime 30 s". */
  readonly about?: string;
};

/** An answer with the bytes of its data phase. */
type AnsweredData = { readonly answer: OperationAnswer; readonly data: Uint8Array };

export type PtpSessionOptions = {
  /** Called with every answer, to learn how fast the link is. */
  readonly onAnswer?: (operation: Operation, answer: OperationAnswer) => void;
  /** The shortest pause before a busy camera is asked again; real milliseconds. */
  readonly busyPollMs?: () => number;
  readonly time?: RealTime;
  /** Called with every number of the session just before it is used. */
  readonly onNumber?: (transactionId: TransactionId) => void;
  /** Number of the first transaction; for tests of the wrap. */
  readonly firstTransactionId?: TransactionId;
};

/** A session that a dead process or a lost connection may have left open. */
export type SurvivingSession = {
  /** The last number that was used in it: the next one goes on from here. */
  readonly lastTransactionId: TransactionId;
  /** Called while it is still open, to end what runs in it. */
  beforeClosing(): Promise<void>;
};

/**
 * One PTP session over any transport: numbers the transactions, runs them one after the other, and
 * turns responses into values or `NightError`s.
 *
 * Beside what the transport throws: `camera.busy` (DeviceBusy), `camera.card_full` (StoreFull),
 * `camera.gone` when the camera says that no session is open, `ptp.truncated` for data that stopped
 * early, and `ptp.response` with `details.responseCode` for everything else that is not OK.
 */
export class PtpSession {
  readonly time: RealTime;
  readonly #transport: Transport;
  readonly #options: PtpSessionOptions;
  #lastId: TransactionId = NO_TRANSACTION;
  #isOpen = false;
  #tail: Promise<unknown> = Promise.resolve();

  constructor(transport: Transport, options: PtpSessionOptions = {}) {
    this.time = options.time ?? REAL_TIME;
    this.#transport = transport;
    this.#options = options;
  }

  get isOpen(): boolean {
    return this.#isOpen;
  }

  /** The number that the next operation will have. */
  get upcomingTransactionId(): TransactionId {
    return this.#isOpen ? nextTransactionId(this.#lastId) : NO_TRANSACTION;
  }

  /**
   * Opens the session. One that is open already was left by a lost connection: it is closed and
   * opened again, so that numbers and handles start clean, or taken over if it cannot be closed.
   */
  async open(survivor: SurvivingSession | null = null): Promise<void> {
    const response = await this.#tryOpen();
    if (response === RESPONSES.SessionAlreadyOpen) {
      this.#begin(survivor?.lastTransactionId);
      await survivor?.beforeClosing();
      // What is not closed goes on, and its numbers with it.
      if ((await this.#closeLeft()) !== RESPONSES.OK) return;
      this.#isOpen = false;
      await this.#tryOpen();
    }
    this.#begin();
  }

  /**
   * Closes a session that was left open. Where its numbers are not known, ours count as used already:
   * then by one that lies ahead of them.
   */
  async #closeLeft(): Promise<number> {
    const { answer } = await this.#attempt(OPERATIONS.CloseSession, []);
    if (answer.responseCode !== RESPONSES.InvalidTransactionID) return answer.responseCode;
    this.#lastId = AHEAD_OF_ANY;
    return (await this.#attempt(OPERATIONS.CloseSession, [])).answer.responseCode;
  }

  /** Ends the session in order; a camera that cannot be asked any more is let go. */
  async close(): Promise<void> {
    if (!this.#isOpen) return;
    try {
      // The session is open until this is answered: closing it takes a number like everything else.
      await this.#attempt(OPERATIONS.CloseSession, [], { timeoutMs: 2_000 });
    } catch (thrown) {
      // The link is going down either way, and the camera ends a session whose link is down.
      if (!(thrown instanceof NightError)) throw thrown;
    } finally {
      this.#isOpen = false;
    }
  }

  async getDeviceInfo(options?: OperationOptions): Promise<DeviceInfo> {
    return deviceInfo.decode(await this.#dataset(OPERATIONS.GetDeviceInfo, [], options));
  }

  /** Stores with a medium in them. */
  async getStorageIds(options?: OperationOptions): Promise<readonly number[]> {
    const ids = decodeHandles(await this.#dataset(OPERATIONS.GetStorageIDs, [], options));
    return ids.filter((id) => (id & 0xffff) !== 0);
  }

  async getStorageInfo(storageId: number, options?: OperationOptions): Promise<StorageInfo> {
    const data = await this.#dataset(OPERATIONS.GetStorageInfo, [storageId], options);
    return storageInfo.decode(data);
  }

  /** Every object on every store, folders included; each handle once, none that cannot be. */
  async getObjectHandles(options?: OperationOptions): Promise<readonly number[]> {
    const data = await this.#dataset(OPERATIONS.GetObjectHandles, [ALL, 0, 0], options);
    return [...new Set(decodeHandles(data))].filter((handle) => handle !== 0 && handle !== ALL);
  }

  async getObjectInfo(handle: number, options?: OperationOptions): Promise<ObjectInfo> {
    return objectInfo.decode(await this.#dataset(OPERATIONS.GetObjectInfo, [handle], options));
  }

  async getObject(handle: number, options?: OperationOptions): Promise<Uint8Array> {
    const { answer, data } = await this.run(OPERATIONS.GetObject, [handle], {
      timeoutMs: OBJECT_MS,
      ...options,
    });
    requireWhole(answer, OPERATIONS.GetObject);
    return data;
  }

  async getThumb(handle: number, options?: OperationOptions): Promise<Uint8Array> {
    return await this.#dataset(OPERATIONS.GetThumb, [handle], options);
  }

  /** A stretch of a file; shorter than asked when the file ends or the camera chose so. */
  async getPartialObject(
    handle: number,
    range: { readonly offset: number; readonly bytes: number },
    options?: OperationOptions,
  ): Promise<Uint8Array> {
    const parameters = [handle, range.offset, range.bytes];
    const { answer, data } = await this.run(OPERATIONS.GetPartialObject, parameters, options);
    requireWhole(answer, OPERATIONS.GetPartialObject);
    // The response says how many bytes were sent, and outranks the data phase.
    const sentBytes = answer.parameters[0] ?? data.length;
    return sentBytes < data.length ? data.subarray(0, sentBytes) : data;
  }

  async deleteObject(handle: number, options?: OperationOptions): Promise<void> {
    await this.run(OPERATIONS.DeleteObject, [handle, 0], options);
  }

  async describeProperty(code: number, options?: OperationOptions): Promise<DevicePropDesc> {
    const data = await this.#dataset(OPERATIONS.GetDevicePropDesc, [code], options);
    return decodeDevicePropDesc(data);
  }

  async getProperty(
    code: number,
    dataType: DataType,
    options?: OperationOptions,
  ): Promise<PtpValue> {
    const data = await this.#dataset(OPERATIONS.GetDevicePropValue, [code], options);
    return decodePropertyValue(dataType, data);
  }

  /** Sets a property and returns what the camera made of it, read back. */
  async setProperty(
    code: number,
    dataType: DataType,
    value: PtpValue,
    options?: OperationOptions,
  ): Promise<PtpValue> {
    const dataOut = encodePropertyValue(dataType, value);
    const about = propertyLine(code, value);
    await this.run(OPERATIONS.SetDevicePropValue, [code], { ...options, about }, dataOut);
    return await this.getProperty(code, dataType, options);
  }

  /** Starts a timed capture; OK means accepted, not finished. */
  async initiateCapture(options?: OperationOptions): Promise<OperationAnswer> {
    return (await this.run(OPERATIONS.InitiateCapture, [0, 0], options)).answer;
  }

  /** Begins an open-ended capture; the answer means that it has begun. */
  async initiateOpenCapture(
    operation: Operation = OPERATIONS.InitiateOpenCapture,
    options?: OperationOptions,
  ): Promise<OperationAnswer> {
    return (await this.run(operation, [0, 0], options)).answer;
  }

  /** Ends the open-ended capture that this transaction began; one that ended by itself is fine. */
  async terminateOpenCapture(
    openingTransactionId: number | null,
    operation: Operation = OPERATIONS.TerminateOpenCapture,
    options?: OperationOptions,
  ): Promise<OperationAnswer> {
    const parameters = openingTransactionId === null ? [] : [openingTransactionId];
    const { answer } = await this.#persist(operation, parameters, options, null);
    if (answer.responseCode !== RESPONSES.CaptureAlreadyTerminated) {
      this.#requireOk(answer, operation);
    }
    return answer;
  }

  /**
   * Runs any operation to an OK.
   * @throws NightError see the class; the response's number is in `details.responseCode`.
   */
  async run(
    operation: Operation,
    parameters: readonly number[],
    options: OperationOptions = {},
    dataOut: Uint8Array | null = null,
  ): Promise<AnsweredData> {
    const answered = await this.#persist(operation, parameters, options, dataOut);
    this.#requireOk(answered.answer, operation, options.about);
    return answered;
  }

  async #dataset(
    operation: Operation,
    parameters: readonly number[],
    options: OperationOptions = {},
  ): Promise<Uint8Array> {
    const { answer, data } = await this.run(operation, parameters, options);
    requireWhole(answer, operation);
    return data;
  }

  /** Asks a busy camera again, each time as a new transaction, until the time is up. */
  async #persist(
    operation: Operation,
    parameters: readonly number[],
    options: OperationOptions = {},
    dataOut: Uint8Array | null,
  ): Promise<AnsweredData> {
    const pollMs = this.#options.busyPollMs?.() ?? DEFAULT_BUSY_POLL_MS;
    const { nowMs } = this.time;
    const wait = new BusyWait(patientPauses(pollMs), options.busyMsMax ?? 0, nowMs);
    for (;;) {
      const answered = await this.#attempt(operation, parameters, options, dataOut);
      if (answered.answer.responseCode !== RESPONSES.DeviceBusy) return answered;
      const pauseMs = wait.next();
      if (pauseMs === null) return answered;
      await pauseFor(this.time, pauseMs, options.signal);
    }
  }

  async #attempt(
    operation: Operation,
    parameters: readonly number[],
    options: OperationOptions = {},
    dataOut: Uint8Array | null = null,
  ): Promise<AnsweredData> {
    const before = this.#tail;
    const mine = (async () => {
      await before.catch(() => undefined); // its own caller hears of it
      return await this.#transact(operation, parameters, options, dataOut);
    })();
    this.#tail = mine;
    return await mine;
  }

  async #transact(
    operation: Operation,
    parameters: readonly number[],
    options: OperationOptions,
    dataOut: Uint8Array | null,
  ): Promise<AnsweredData> {
    const transactionId = this.upcomingTransactionId;
    if (this.#isOpen) {
      this.#lastId = transactionId;
      this.#options.onNumber?.(transactionId);
    }
    const data = new CollectedData();
    const isObject = operation.code === OPERATIONS.GetObject.code;
    const answer = await this.#transport.transact(
      { operationCode: operation.code, transactionId, parameters, dataOut },
      {
        timeoutMs: options.timeoutMs ?? ANSWER_MS,
        data,
        dataBytesMax: options.dataBytesMax ?? (isObject ? OBJECT_BYTES_MAX : DATASET_BYTES_MAX),
        ...(options.signal ? { signal: options.signal } : {}),
      },
    );
    this.#options.onAnswer?.(operation, answer);
    return { answer, data: data.bytes };
  }

  async #tryOpen(): Promise<number> {
    const { answer } = await this.#persist(
      OPERATIONS.OpenSession,
      [SESSION_ID],
      { busyMsMax: 5_000 },
      null,
    );
    if (answer.responseCode !== RESPONSES.SessionAlreadyOpen) {
      this.#requireOk(answer, OPERATIONS.OpenSession);
    }
    return answer.responseCode;
  }

  #begin(lastId = this.#options.firstTransactionId ?? NO_TRANSACTION): void {
    this.#isOpen = true;
    this.#lastId = lastId;
  }

  #requireOk(answer: OperationAnswer, operation: Operation, about?: string): void {
    const { responseCode } = answer;
    if (responseCode === RESPONSES.OK) return;
    const name = about === undefined ? operation.name : `${operation.name} (${about})`;
    const details = { operation: operation.name, responseCode, parameters: answer.parameters };
    switch (responseCode) {
      case RESPONSES.DeviceBusy:
        throw new NightError("camera.busy", "The camera is busy.", details);
      case RESPONSES.StoreFull:
        throw new NightError("camera.card_full", "The camera's card is full.", details);
      case RESPONSES.SessionNotOpen:
        this.#isOpen = false;
        throw new NightError("camera.gone", "The camera ended the session.", details);
      default:
        throw new NightError(
          "ptp.response",
          `The camera answered ${name} with ${responseName(responseCode)}.`,
          details,
        );
    }
  }
}

/** Whether an error is the camera's answer with this code. */
export function isResponse(thrown: unknown, responseCode: number): boolean {
  return thrown instanceof NightError && thrown.details["responseCode"] === responseCode;
}

function requireWhole(answer: OperationAnswer, operation: Operation): void {
  if (answer.isDataComplete) return;
  throw new NightError("ptp.truncated", `The data of ${operation.name} stopped early.`, {
    dataBytes: answer.dataBytes,
  });
}
