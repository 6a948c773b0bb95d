// The responder's own reader and writer. They share nothing with the product on purpose: an error
// that both ends make alike would never be seen. Source: ISO 15740 by way of MTP 1.1, §3.2.

/** Fields one behind the other, little endian, nothing aligned and nothing padded. */
export class ByteSink {
  readonly #parts: Buffer[] = [];

  uint(width: number, value: bigint | number): this {
    const part = Buffer.alloc(width / 8);
    let rest = BigInt.asUintN(width, BigInt(value));
    for (let at = 0; at < part.length; at++) {
      part[at] = Number(rest & 0xffn);
      rest >>= 8n;
    }
    return this.raw(part);
  }

  u8(value: number): this {
    return this.uint(8, value);
  }

  u16(value: number): this {
    return this.uint(16, value);
  }

  u32(value: number): this {
    return this.uint(32, value);
  }

  u64(value: bigint): this {
    return this.uint(64, value);
  }

  raw(bytes: Uint8Array): this {
    this.#parts.push(Buffer.from(bytes));
    return this;
  }

  /** A count of code units with the closing NUL, then UTF-16; the empty text is one zero byte. */
  text(value: string): this {
    if (value === "") return this.u8(0);
    const units = value.slice(0, 254);
    return this.u8(units.length + 1)
      .raw(Buffer.from(units, "utf16le"))
      .u16(0);
  }

  /** PTP/IP's friendly name: UTF-16 up to a NUL, no count. Source: CIPA DC-005, §2.3.1. */
  name(value: string): this {
    return this.raw(Buffer.from(value, "utf16le")).u16(0);
  }

  /** A count of 32 bits, then the elements. */
  array(width: number, values: readonly number[]): this {
    this.u32(values.length);
    for (const value of values) this.uint(width, value);
    return this;
  }

  bytes(): Buffer {
    return Buffer.concat(this.#parts);
  }
}

/** Reads what the host sent. @throws RangeError where it is shorter than it should be. */
export class ByteSource {
  #at = 0;
  readonly #bytes: Buffer;

  constructor(bytes: Buffer) {
    this.#bytes = bytes;
  }

  get left(): number {
    return this.#bytes.length - this.#at;
  }

  uint(width: number): bigint {
    const part = this.take(width / 8);
    return part.reduceRight((value, byte) => (value << 8n) | BigInt(byte), 0n);
  }

  u16(): number {
    return Number(this.uint(16));
  }

  u32(): number {
    return Number(this.uint(32));
  }

  u64(): bigint {
    return this.uint(64);
  }

  take(count: number): Buffer {
    if (count > this.left) throw new RangeError(`${count} bytes wanted, ${this.left} left`);
    this.#at += count;
    return this.#bytes.subarray(this.#at - count, this.#at);
  }

  text(): string {
    const count = Number(this.uint(8));
    return this.take(count * 2)
      .toString("utf16le")
      .replace(/\0.*$/s, "");
  }
}
