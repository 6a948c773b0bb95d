import type { NightError } from "../../core/errors.ts";

/** One PTP operation as it goes to a camera. */
export type OperationRequest = {
  readonly operationCode: number;
  readonly transactionId: number;
  /** At most five, unsigned 32-bit. */
  readonly parameters: readonly number[];
  /** Bytes for the data phase towards the camera; null: none, or data comes from the camera. */
  readonly dataOut: Uint8Array | null;
};

/** Takes the data phase of one transaction, piece by piece as it comes. */
export type DataSink = {
  /** Called before the first piece with how much will come; null: the camera does not know. */
  announce?(bytes: number | null): void;
  /** Where the next `bytesMax` bytes may be written at once; null: nowhere. Spares a copy. */
  roomFor?(bytesMax: number): Uint8Array | null;
  /** The next bytes, the taker's to keep; those written into the room that was offered included. */
  take(bytes: Uint8Array): void;
};

/** How long and under which conditions a transaction may run. All times are real milliseconds. */
export type TransactionOptions = {
  /** From sending to the response; then the transaction is cancelled and `ptp.timeout` thrown. */
  readonly timeoutMs: number;
  /** Takes the data phase; left out: it is read and dropped. */
  readonly data?: DataSink;
  /** Data beyond this breaks the connection; a camera cannot fill the memory. */
  readonly dataBytesMax?: number;
  /** Cancels the running transaction; `ptp.cancelled` is thrown unless the camera finished first. */
  readonly signal?: AbortSignal;
};

/** What a camera answered to one operation. */
export type OperationAnswer = {
  readonly responseCode: number;
  readonly parameters: readonly number[];
  readonly dataBytes: number;
  /** False when the response came before all announced data had. */
  readonly isDataComplete: boolean;
  /** Real time of the request's hand-over to the operating system, as `realMs()` counts. */
  readonly sentMs: number;
  /** Real time at which the response was read. */
  readonly answeredMs: number;
};

/** An event as it came over the link; parameters are as many as were sent, at most three. */
export type TransportEvent = {
  readonly eventCode: number;
  readonly transactionId: number;
  readonly parameters: readonly number[];
  /** Real time at which it was read. */
  readonly atMs: number;
};

/**
 * A link that carries PTP transactions, one at a time, and events beside them.
 *
 * A transport serves one connection: it is opened once, closed once, and replaced after a loss.
 * It never looks into payloads; sessions and operations are the session's.
 *
 * Failures are `NightError`s: `camera.unreachable` from `open`; `camera.busy` and `camera.refused`
 * from `open` when the camera turns the connection down; `ptp.timeout` and `ptp.cancelled` when one
 * transaction ended early and the link goes on; `camera.gone` when the link is lost.
 */
export type Transport = {
  /** The camera's place in words, as in "192.0.2.7:15740"; for sentences. */
  readonly place: string;
  /** Numbers of the device on USB, once open; left out: not known over this link. */
  readonly usbIds?: { readonly vendorId: number; readonly productId: number } | undefined;
  /** Connects within the time, real milliseconds, or throws. */
  open(timeoutMs: number): Promise<void>;
  /** Runs one transaction; a second one while it runs is a bug and throws. */
  transact(request: OperationRequest, options: TransactionOptions): Promise<OperationAnswer>;
  /** Listens to events; they are reported in the order in which they came. */
  onEvent(listener: (event: TransportEvent) => void): void;
  /** Listens to the end of the link by anything but `close`; reported once. */
  onLost(listener: (error: NightError) => void): void;
  /** Ends the link; safe to call at any time and more than once. */
  close(): Promise<void>;
};
