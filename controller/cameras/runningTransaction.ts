import { NightError } from "../../core/errors.ts";
import { RESPONSES } from "../../core/ptp/responses.ts";
import { realMs } from "../timing/clock.ts";
import type { OperationAnswer, OperationRequest, TransactionOptions } from "./transport.ts";
import { calledBack, outOfStep, tooLate } from "./transportErrors.ts";

/** No camera's file is larger. */
const DATA_BYTES_MAX = 1024 * 1024 * 1024;

/** What came as a response, and the real time at which it was read. */
type ResponseRead = {
  readonly code: number;
  readonly parameters: readonly number[];
  readonly atMs: number;
};

/** One transaction from its request to its answer, whatever carries it. */
export class RunningTransaction {
  readonly request: OperationRequest;
  /** Rejects with a `NightError` when there is no answer. */
  readonly answer: Promise<OperationAnswer>;
  readonly #options: TransactionOptions;
  readonly #sentMs = realMs();
  #settle: (result: OperationAnswer | NightError) => void = () => undefined;
  #timer: NodeJS.Timeout | undefined;
  #onAbort: () => void = () => undefined;
  #isSettled = false;
  #cancelled: NightError | null = null;
  #dataBytes = 0;
  #announcedBytes: number | null = null;
  #hasDiscarded = false;

  constructor(request: OperationRequest, options: TransactionOptions) {
    this.request = request;
    this.#options = options;
    this.answer = new Promise((resolve, reject) => {
      this.#settle = (result) => (result instanceof NightError ? reject(result) : resolve(result));
    });
  }

  /**
   * Minds its time and its caller's signal from now on.
   * @param cancel  Breaks it off for this reason.
   */
  watch(place: string, cancel: (reason: NightError) => void): void {
    const { timeoutMs, signal } = this.#options;
    this.#timer = setTimeout(() => cancel(tooLate(place)), timeoutMs);
    this.#onAbort = () => cancel(calledBack());
    signal?.addEventListener("abort", this.#onAbort, { once: true });
    if (signal?.aborted) this.#onAbort();
  }

  get id(): number {
    return this.request.transactionId;
  }

  get isSettled(): boolean {
    return this.#isSettled;
  }

  /** What is thrown once the camera has broken off; null: it runs. */
  get cancelled(): NightError | null {
    return this.#cancelled;
  }

  /** Bytes of the data phase that the camera announced; null: not yet, or it did not know. */
  get announcedBytes(): number | null {
    return this.#announcedBytes;
  }

  get dataBytes(): number {
    return this.#dataBytes;
  }

  markCancelled(reason: NightError): void {
    this.#cancelled = reason;
    clearTimeout(this.#timer);
  }

  /** Some of its data is lost; it cannot pass for whole any more. */
  markDiscarded(): void {
    this.#hasDiscarded = true;
  }

  /** The camera says how much data follows. @throws NightError `ptp.malformed`: too much. */
  announce(bytes: number | null): void {
    this.#announcedBytes = bytes;
    this.#checkRoom(bytes ?? 0);
    if (!this.#isOver) this.#options.data?.announce?.(bytes);
  }

  /** Where the next bytes may be put at once; null: they are handed to `takeData`. */
  roomFor(bytesMax: number): Uint8Array | null {
    return this.#isOver ? null : (this.#options.data?.roomFor?.(bytesMax) ?? null);
  }

  /** The next bytes of the data phase. @throws NightError `ptp.malformed`: more than announced. */
  takeData(bytes: Uint8Array): void {
    this.#dataBytes += bytes.length;
    this.#checkRoom(this.#dataBytes);
    // What comes after a cancel is only read to stay in step.
    if (this.#isOver) this.#hasDiscarded = true;
    else if (bytes.length > 0) this.#options.data?.take(bytes);
  }

  /** Ends it with the camera's response, as an answer or as broken off. */
  conclude(response: ResponseRead, isDataComplete: boolean): void {
    const { code: responseCode, parameters, atMs: answeredMs } = response;
    const brokeOff =
      responseCode === RESPONSES.TransactionCancelled ||
      responseCode === RESPONSES.IncompleteTransfer;
    if (this.#cancelled !== null && (brokeOff || this.#hasDiscarded)) {
      return this.settle(this.#cancelled);
    }
    this.settle({
      ...{ responseCode, parameters, isDataComplete },
      ...{ dataBytes: this.#dataBytes, sentMs: this.#sentMs, answeredMs },
    });
  }

  /** Ends it, once. */
  settle(result: OperationAnswer | NightError): void {
    if (this.#isSettled) return;
    this.#isSettled = true;
    clearTimeout(this.#timer);
    this.#options.signal?.removeEventListener("abort", this.#onAbort);
    this.#settle(result);
  }

  get #isOver(): boolean {
    return this.#cancelled !== null || this.#isSettled;
  }

  #checkRoom(bytes: number): void {
    const bytesMax = this.#options.dataBytesMax ?? DATA_BYTES_MAX;
    if (bytes <= Math.min(this.#announcedBytes ?? bytesMax, bytesMax)) return;
    throw outOfStep("more data than was announced or asked for");
  }
}
