/**
 * A lamp that burns while the shutter may be open, seen from every thread.
 *
 * The timing thread lights it before it asks the camera to open and puts it out when the camera has
 * confirmed the end. The main thread can wait for darkness even in its last breath, when no message
 * can be received any more, and a replacement thread learns from it which exposure to end.
 */
export class ShutterLamp {
  readonly #cells: Int32Array<SharedArrayBuffer>;

  constructor(buffer: SharedArrayBuffer) {
    this.#cells = new Int32Array(buffer);
  }

  static createBuffer(): SharedArrayBuffer {
    return new SharedArrayBuffer(2 * Int32Array.BYTES_PER_ELEMENT);
  }

  get isLit(): boolean {
    return Atomics.load(this.#cells, LIT) === 1;
  }

  /** Transaction that opened, or is opening, the shutter; it is needed to close it. */
  get openingTransactionId(): number {
    return Atomics.load(this.#cells, TRANSACTION) >>> 0;
  }

  light(openingTransactionId: number): void {
    Atomics.store(this.#cells, TRANSACTION, openingTransactionId | 0);
    Atomics.store(this.#cells, LIT, 1);
  }

  putOut(): void {
    Atomics.store(this.#cells, LIT, 0);
    Atomics.notify(this.#cells, LIT);
  }

  /** Holds the calling thread until the lamp is out, at most this long. @returns whether it is. */
  waitUntilOut(timeoutMs: number): boolean {
    return Atomics.wait(this.#cells, LIT, 1, timeoutMs) !== "timed-out";
  }
}

const LIT = 0;
const TRANSACTION = 1;
