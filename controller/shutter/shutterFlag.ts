/**
 * A flag that is set while the shutter may be open, seen from every thread.
 *
 * The timing thread sets it before it asks the camera to open and clears it when the camera has
 * confirmed the end. The main thread can wait until it is clear even while the process ends, when no
 * message can be received any more, and a replacement thread learns from it which exposure to end.
 */
export class ShutterFlag {
  readonly #cells: Int32Array<SharedArrayBuffer>;

  constructor(buffer: SharedArrayBuffer) {
    this.#cells = new Int32Array(buffer);
  }

  static createBuffer(): SharedArrayBuffer {
    return new SharedArrayBuffer(2 * Int32Array.BYTES_PER_ELEMENT);
  }

  get isSet(): boolean {
    return Atomics.load(this.#cells, FLAG) === 1;
  }

  /** Transaction that opened, or is opening, the shutter; it is needed to close it. */
  get openingTransactionId(): number {
    return Atomics.load(this.#cells, TRANSACTION) >>> 0;
  }

  set(openingTransactionId: number): void {
    Atomics.store(this.#cells, TRANSACTION, openingTransactionId | 0);
    Atomics.store(this.#cells, FLAG, 1);
  }

  clear(): void {
    Atomics.store(this.#cells, FLAG, 0);
    Atomics.notify(this.#cells, FLAG);
  }

  /** Holds the calling thread until the flag is clear, at most this long. @returns whether it is. */
  waitUntilClear(timeoutMs: number): boolean {
    return Atomics.wait(this.#cells, FLAG, 1, timeoutMs) !== "timed-out";
  }
}

const FLAG = 0;
const TRANSACTION = 1;
