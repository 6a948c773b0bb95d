import { NightError } from "../errors.ts";
import type { TransactionId } from "./ids.ts";
import { checkLength, decodeIpPacket, IP_HEADER_BYTES, type IpPacket } from "./ipPacket.ts";

/** Cuts a TCP stream into packets, wherever the reads happen to break. */
export type IpStream = {
  /**
   * Takes the next bytes of the stream and yields the packets that are whole by now. Iterate it to
   * the end. After it has thrown, the stream cannot be followed: drop the connection.
   *
   * @throws NightError `ptp.malformed` or `ptp.truncated` at the first packet that cannot be; those
   * before it have been yielded.
   */
  push(bytes: Uint8Array): Generator<IpPacket, void, undefined>;
  /** Bytes of an unfinished packet that are waiting for the rest. */
  pendingBytes(): number;
};

/**
 * An empty stream. The announced length is checked against its type's limit before anything is
 * kept for it, so a peer cannot make it hold more than 16 MiB and one read.
 */
export function createIpStream(): IpStream {
  let chunks: Uint8Array[] = [];
  let pending = 0;
  /** Bytes without which it is not worth looking again. */
  let needed = IP_HEADER_BYTES;
  /** The stream is out of step for good after a bad length. */
  let isBroken = false;

  const take = (count: number): Uint8Array => {
    const first = chunks[0];
    pending -= count;
    if (first !== undefined && first.byteLength >= count) {
      const rest = first.subarray(count);
      if (rest.byteLength > 0) chunks[0] = rest;
      else chunks.shift();
      return first.subarray(0, count);
    }
    const result = new Uint8Array(count);
    const left: Uint8Array[] = [];
    let filled = 0;
    for (const chunk of chunks) {
      const part = chunk.subarray(0, count - filled);
      result.set(part, filled);
      filled += part.byteLength;
      if (part.byteLength < chunk.byteLength) left.push(chunk.subarray(part.byteLength));
    }
    chunks = left;
    return result;
  };
  const peek = (count: number): Uint8Array => {
    const bytes = take(count);
    chunks.unshift(bytes);
    pending += count;
    return bytes;
  };

  return {
    *push(bytes) {
      if (isBroken) {
        throw new NightError("ptp.malformed", "this PTP/IP stream is out of step already");
      }
      if (bytes.byteLength > 0) chunks.push(bytes);
      pending += bytes.byteLength;
      try {
        while (pending >= needed) {
          const header = peek(IP_HEADER_BYTES);
          const view = new DataView(header.buffer, header.byteOffset, IP_HEADER_BYTES);
          const packetBytes = view.getUint32(0, true);
          checkLength(packetBytes, view.getUint32(4, true));
          if (pending < packetBytes) {
            needed = packetBytes;
            return;
          }
          needed = IP_HEADER_BYTES;
          yield decodeIpPacket(take(packetBytes));
        }
      } catch (thrown) {
        isBroken = true;
        throw thrown;
      }
    },
    pendingBytes: () => pending,
  };
}

/**
 * The packets of one data phase: StartData, as many Data as needed, EndData with the last piece.
 * An empty phase is StartData of length 0 and an empty EndData.
 *
 * @param pieceBytes  Most payload bytes a packet, > 0.
 * Source: the layouts and the split example of a recorded exchange, see tests/reference.
 */
export function* dataPhasePackets(
  transactionId: TransactionId,
  payload: Uint8Array,
  pieceBytes = 0x10000,
): Generator<IpPacket, void, undefined> {
  yield { kind: "startData", transactionId, totalBytes: BigInt(payload.byteLength) };
  let start = 0;
  for (; payload.byteLength - start > pieceBytes; start += pieceBytes) {
    const piece = payload.subarray(start, start + pieceBytes);
    yield { kind: "data", transactionId, payload: piece };
  }
  yield { kind: "endData", transactionId, payload: payload.subarray(start) };
}
