import { closeSync, constants, openSync, readSync, writeSync } from "node:fs";
import * as v from "valibot";
import type { UtcMs } from "../../core/units.ts";

/** An exposure that runs until it is informed to end, as much as another process needs to end it. */
export type OpenExposure = {
  /** Of the body, as it reports it; "": it reports none. */
  readonly serialNumber: string;
  /** The transaction that opened the shutter. */
  readonly openingTransactionId: number;
  /** The last number that was used in that session. */
  readonly lastTransactionId: number;
  /** When the camera was asked to open, on the night's clock. */
  readonly openedUtcMs: number;
};

const transactionNumber = v.pipe(v.number(), v.integer(), v.minValue(0), v.maxValue(0xffffffff));
const openExposure = v.strictObject({
  serialNumber: v.string(),
  openingTransactionId: transactionNumber,
  lastTransactionId: transactionNumber,
  openedUtcMs: v.pipe(v.number(), v.finite()),
});

/**
 * The note always has this length, so that one write replaces all of it. A serial number of the
 * protocol has at most 254 characters of at most 6 bytes in JSON. Source: MTP 1.1 §3.2.3.
 */
const NOTE_BYTES = 2048;

/**
 * Writes down, before the shutter opens, which transaction opens it. The note is not flushed: what a
 * process has written outlives its being killed, and after a power cut the session is gone anyway.
 *
 * A disk that does not take the note costs the rescue by another process, never the frame.
 */
export class ShutterNote {
  readonly #path: string | null;
  readonly #utcNow: () => UtcMs;
  #file: number | null = null;
  #open: OpenExposure | null;

  /**
   * @param path  null: kept in memory alone.
   * @param utcNow  The night's clock.
   */
  constructor(path: string | null, utcNow: () => UtcMs) {
    this.#path = path;
    this.#utcNow = utcNow;
    this.#open = path === null ? null : readNote(path);
  }

  /** The exposure that may still run; null: none that is known. */
  get open(): OpenExposure | null {
    return this.#open;
  }

  /** The shutter of this body is about to be opened by this transaction. */
  begin(serialNumber: string, openingTransactionId: number): void {
    this.#write({
      ...{ serialNumber, openingTransactionId },
      lastTransactionId: openingTransactionId,
      openedUtcMs: this.#utcNow(),
    });
  }

  /** A number of the session is about to be used. */
  noteTransaction(lastTransactionId: number): void {
    if (this.#open !== null) this.#write({ ...this.#open, lastTransactionId });
  }

  /** The shutter is surely closed. */
  clear(): void {
    if (this.#open !== null) this.#write(null);
  }

  #write(open: OpenExposure | null): void {
    this.#open = open;
    if (this.#path === null) return;
    const text = `${JSON.stringify(open).padEnd(NOTE_BYTES - 1)}\n`;
    try {
      this.#file ??= openSync(this.#path, constants.O_RDWR | constants.O_CREAT, 0o600);
      writeSync(this.#file, Buffer.from(text), 0, null, 0);
    } catch {
      this.#file = null;
    }
  }
}

/** What a note says; null: nothing is open, or it cannot be read. */
function readNote(path: string): OpenExposure | null {
  let file: number | null = null;
  try {
    file = openSync(path, "r");
    const bytes = Buffer.alloc(NOTE_BYTES);
    const length = readSync(file, bytes, 0, NOTE_BYTES, 0);
    const said: unknown = JSON.parse(bytes.toString("utf8", 0, length));
    return v.is(openExposure, said) ? said : null;
  } catch {
    return null;
  } finally {
    if (file !== null) closeSync(file);
  }
}
