import { NightError } from "../errors.ts";
import { createByteQueue } from "./byteQueue.ts";
import { transactionId, type TransactionId } from "./ids.ts";
import {
  checkLength,
  decodeIpPacket,
  IP_DATA_HEADER_BYTES,
  IP_HEADER_BYTES,
  IP_PACKET_TYPES,
  type IpPacket,
} from "./ipPacket.ts";

/** Cuts a TCP stream into packets, wherever the reads happen to break. */
type IpStream = {
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

/** Payload of a data packet that is not whole yet. */
export type DataPart = { readonly transactionId: TransactionId; readonly payload: Uint8Array };

/** A data packet whose payload is handed on as it comes. */
type OpenPacket = {
  readonly kind: "data" | "endData";
  readonly transactionId: TransactionId;
  readonly leftBytes: number;
};

/**
 * An empty stream. The announced length is checked against its type's limit before anything is
 * kept for it, so a peer cannot make it hold more than 16 MiB and one read.
 *
 * @param onPart  Takes payload of data packets as it comes, in its place among the packets; the
 *   packet itself then carries the rest alone. Pictures pass without being put together first. Left
 *   out: every packet is yielded whole.
 */
export function createIpStream(onPart?: (part: DataPart) => void): IpStream {
  const queue = createByteQueue();
  /** Bytes without which it is not worth looking again. */
  let neededBytes = IP_HEADER_BYTES;
  let open: OpenPacket | null = null;
  /** The stream is out of step for good after a bad length. */
  let isBroken = false;

  /** The next packet, if it is whole by now. */
  const next = (): IpPacket | null => {
    if (open !== null) return nextOfOpen(open);
    const { packetBytes, type } = headerOf(queue.peek(IP_HEADER_BYTES));
    const isWhole = queue.bytes() >= packetBytes;
    const kind = dataKindOf(type);
    if (!isWhole && onPart && kind !== null) {
      neededBytes = IP_DATA_HEADER_BYTES;
      if (queue.bytes() < neededBytes) return null;
      open = openPacket(kind, queue.take(IP_DATA_HEADER_BYTES));
      return nextOfOpen(open);
    }
    neededBytes = isWhole ? IP_HEADER_BYTES : packetBytes;
    return isWhole ? decodeIpPacket(queue.take(packetBytes)) : null;
  };
  const nextOfOpen = ({ kind, transactionId: id, leftBytes }: OpenPacket): IpPacket | null => {
    if (queue.bytes() >= leftBytes) {
      open = null;
      neededBytes = IP_HEADER_BYTES;
      return { kind, transactionId: id, payload: queue.take(leftBytes) };
    }
    let left = leftBytes;
    while (queue.bytes() > 0) {
      const payload = queue.takeSome(left);
      left -= payload.byteLength;
      onPart?.({ transactionId: id, payload });
    }
    open = { kind, transactionId: id, leftBytes: left };
    neededBytes = 1;
    return null;
  };

  return {
    *push(bytes) {
      if (isBroken) {
        throw new NightError("ptp.malformed", "this PTP/IP stream is out of step already");
      }
      queue.push(bytes);
      try {
        while (queue.bytes() >= neededBytes) {
          const packet = next();
          if (packet === null) return;
          yield packet;
        }
      } catch (thrown) {
        isBroken = true;
        throw thrown;
      }
    },
    pendingBytes: () => queue.bytes(),
  };
}

function headerOf(bytes: Uint8Array): { readonly packetBytes: number; readonly type: number } {
  const view = new DataView(bytes.buffer, bytes.byteOffset, IP_HEADER_BYTES);
  const header = { packetBytes: view.getUint32(0, true), type: view.getUint32(4, true) };
  checkLength(header.packetBytes, header.type);
  return header;
}

function dataKindOf(type: number): OpenPacket["kind"] | null {
  if (type === IP_PACKET_TYPES.data) return "data";
  return type === IP_PACKET_TYPES.endData ? "endData" : null;
}

function openPacket(kind: OpenPacket["kind"], header: Uint8Array): OpenPacket {
  const view = new DataView(header.buffer, header.byteOffset, IP_DATA_HEADER_BYTES);
  const leftBytes = view.getUint32(0, true) - IP_DATA_HEADER_BYTES;
  return { kind, transactionId: transactionId(view.getUint32(8, true)), leftBytes };
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
