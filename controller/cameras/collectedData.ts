import type { DataSink } from "./transport.ts";

/** Room made on a camera's word alone; what is larger grows as it comes. */
const TRUSTED_BYTES_MAX = 64 * 1024 * 1024;
/** Behind the announced bytes: a USB read is rounded up to whole packets. */
const SLACK_BYTES = 1024;
const FIRST_ROOM_BYTES = 16 * 1024;

/** A data phase in one piece: every byte is put in its place once, as it comes. */
export class CollectedData implements DataSink {
  #room = new Uint8Array();
  #filled = 0;

  /** What has come so far. */
  get bytes(): Uint8Array {
    return this.#room.subarray(0, this.#filled);
  }

  announce(bytes: number | null): void {
    if (bytes !== null) this.#grow(Math.min(bytes, TRUSTED_BYTES_MAX) + SLACK_BYTES);
  }

  roomFor(bytesMax: number): Uint8Array | null {
    const room = this.#room.subarray(this.#filled, this.#filled + bytesMax);
    return room.length === bytesMax ? room : null;
  }

  take(bytes: Uint8Array): void {
    const endBytes = this.#filled + bytes.length;
    if (endBytes > this.#room.length) {
      this.#grow(Math.max(endBytes, 2 * this.#room.length, FIRST_ROOM_BYTES));
    }
    if (!this.#isInPlace(bytes)) this.#room.set(bytes, this.#filled);
    this.#filled = endBytes;
  }

  /** Read into the room that was offered. */
  #isInPlace(bytes: Uint8Array): boolean {
    const { buffer, byteOffset } = this.#room;
    return bytes.buffer === buffer && bytes.byteOffset === byteOffset + this.#filled;
  }

  #grow(bytes: number): void {
    // Not from the pool and not zeroed: every byte that is handed out has been written.
    const larger = new Uint8Array(Buffer.allocUnsafeSlow(bytes).buffer);
    larger.set(this.bytes);
    this.#room = larger;
  }
}
