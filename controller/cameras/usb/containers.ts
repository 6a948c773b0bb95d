import { NightError } from "../../../core/errors.ts";
import {
  CONTAINER_HEADER_BYTES,
  decodeContainer,
  decodeContainerHeader,
  LENGTH_UNKNOWN,
  type Container,
  type ContainerHeader,
} from "../../../core/ptp/container.ts";
import type { UsbRead } from "./link.ts";

/** Holds most datasets and every response; a multiple of every bulk packet size. */
const FIRST_READ_BYTES = 16 * 1024;
/** Large enough for the full speed of the bus, small enough that a cancel is soon through. */
const READ_BYTES_MAX = 512 * 1024;
/** Empty packets in a row before the camera counts as out of its mind. */
const EMPTY_READS_MAX = 100;

/**
 * What reads bulk packets: resolves at a short packet or when `bytesMax` are there.
 * @param room  Where to put them; null: in a place of their own.
 */
type BulkReader = (bytesMax: number, room: Uint8Array | null) => Promise<UsbRead>;

/** Takes a data phase piece by piece; a piece is the receiver's to keep. */
export type ContainerSink = {
  begin(header: ContainerHeader, announcedBytes: number | null): void;
  /** Where the next bytes may be read to at once; null: nowhere. */
  roomFor(bytesMax: number): Uint8Array | null;
  piece(bytes: Uint8Array): void;
};

/** A container that has come whole, or a data phase as far as it came. */
type ReceivedContainer =
  | { readonly kind: "data"; readonly transactionId: number; readonly isWhole: boolean }
  | {
      readonly kind: "response";
      readonly code: number;
      readonly transactionId: number;
      readonly parameters: readonly number[];
      readonly atMs: number;
    };

/**
 * Cuts what comes through the bulk pipe into containers.
 *
 * A container ends by its length; a data phase also by a short packet, which is how a camera gives
 * up early. What cameras differ in is taken as it comes: a header in a packet of its own, an empty
 * packet after a data phase of whole packets or none, the response right behind the data.
 * Source: MTP 1.1 appendix H, and the responders that were seen to do each of these.
 */
export class UsbContainers {
  readonly #read: BulkReader;
  readonly #packetBytes: number;
  #rest: UsbRead | null = null;
  #splitsHeaders = false;

  constructor(read: BulkReader, packetBytes: number) {
    this.#read = read;
    this.#packetBytes = packetBytes;
  }

  /** Whether the camera sends a data header by itself; then it wants to be sent so, too. */
  get splitsHeaders(): boolean {
    return this.#splitsHeaders;
  }

  /** Forgets what was read ahead. */
  drop(): void {
    this.#rest = null;
  }

  /**
   * The next response or data phase.
   * @throws NightError `ptp.malformed` for bytes that are no container of a camera; UsbTransferError.
   */
  async next(sink: ContainerSink): Promise<ReceivedContainer> {
    const first = await this.#firstRead();
    const header = headerOf(first.bytes);
    if (header.kind === "data") return await this.#receiveData(first, header, sink);
    if (header.kind !== "response") throw malformed(`a ${header.kind} where an answer belongs`);
    const { containerBytes } = header;
    if (first.bytes.length < containerBytes) throw malformed("an answer that was cut short");
    this.#keepRest(first, containerBytes);
    return responseOf(first, containerBytes);
  }

  async #firstRead(): Promise<UsbRead> {
    const rest = this.#rest;
    this.#rest = null;
    if (rest) return rest;
    for (let attempt = 0; attempt < EMPTY_READS_MAX; attempt += 1) {
      const read = await this.#read(FIRST_READ_BYTES, null);
      // An empty packet ends a data phase of whole packets; some cameras send one more.
      if (read.bytes.length > 0) return read;
    }
    throw malformed("nothing but empty packets");
  }

  async #receiveData(
    first: UsbRead,
    header: ContainerHeader,
    sink: ContainerSink,
  ): Promise<ReceivedContainer> {
    const { transactionId } = header;
    const isUnknown = header.containerBytes === LENGTH_UNKNOWN;
    const totalBytes = isUnknown ? Infinity : header.containerBytes - CONTAINER_HEADER_BYTES;
    sink.begin(header, isUnknown ? null : totalBytes);
    const firstPayload = first.bytes.subarray(CONTAINER_HEADER_BYTES);
    const isHeaderAlone = firstPayload.length === 0 && totalBytes > 0;
    let leftBytes = totalBytes - this.#take(first, firstPayload, totalBytes, sink);
    let hasEnded = first.bytes.length < FIRST_READ_BYTES && !isHeaderAlone;
    for (let isNext = true; leftBytes > 0 && !hasEnded; isNext = false) {
      const askedBytes = this.#askFor(leftBytes);
      const read = await this.#read(askedBytes, sink.roomFor(askedBytes));
      if (isHeaderAlone && isNext) {
        // A camera that gave up right after the header goes on with its answer.
        if (read.bytes.length < leftBytes && isAnswer(read.bytes, transactionId)) {
          this.#rest = read;
          break;
        }
        this.#splitsHeaders = true;
      }
      hasEnded = read.bytes.length < askedBytes;
      leftBytes -= this.#take(read, read.bytes, leftBytes, sink);
    }
    const isWhole = isUnknown ? hasEnded : leftBytes === 0;
    return { kind: "data", transactionId, isWhole };
  }

  /** Hands on what belongs to the data phase and keeps what came behind it. */
  #take(read: UsbRead, payload: Uint8Array, leftBytes: number, sink: ContainerSink): number {
    const count = Math.min(payload.length, leftBytes);
    if (count > 0) sink.piece(payload.subarray(0, count));
    const containerBytes = read.bytes.length - payload.length + count;
    if (containerBytes < read.bytes.length && containerBytes % this.#packetBytes !== 0) {
      // Another container can only begin with a packet of its own.
      throw malformed("more data than was announced");
    }
    this.#keepRest(read, containerBytes);
    return count;
  }

  #askFor(leftBytes: number): number {
    if (leftBytes >= READ_BYTES_MAX) return READ_BYTES_MAX;
    return Math.ceil(leftBytes / this.#packetBytes) * this.#packetBytes;
  }

  #keepRest({ bytes, atMs }: UsbRead, from: number): void {
    if (bytes.length > from) this.#rest = { bytes: bytes.subarray(from), atMs };
  }
}

function headerOf(bytes: Uint8Array): ContainerHeader {
  try {
    return decodeContainerHeader(bytes);
  } catch (thrown) {
    throw malformed("bytes that are no container", thrown);
  }
}

function responseOf({ bytes, atMs }: UsbRead, containerBytes: number): ReceivedContainer {
  const container = decodeContainer(bytes.subarray(0, containerBytes)) as Extract<
    Container,
    { kind: "command" | "response" | "event" }
  >;
  const { code, transactionId, parameters } = container;
  return { kind: "response", code, transactionId, parameters, atMs };
}

/** Whether these bytes are exactly one response to this transaction. */
function isAnswer(bytes: Uint8Array, transactionId: number): boolean {
  try {
    const container = decodeContainer(bytes);
    return container.kind === "response" && container.transactionId === transactionId;
  } catch {
    return false;
  }
}

function malformed(what: string, cause?: unknown): NightError {
  return new NightError("ptp.malformed", `the camera sent ${what}`, {}, { cause });
}
