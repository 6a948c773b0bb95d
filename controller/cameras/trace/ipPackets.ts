import { transactionId } from "../../../core/ptp/ids.ts";
import {
  DATA_PHASE_INFO,
  encodeIpPacket,
  IP_DATA_HEADER_BYTES,
  IP_PORT,
  IP_PROTOCOL_VERSION,
  type IpPacket,
} from "../../../core/ptp/ipPacket.ts";
import type { CapturedPacket } from "./pcapng.ts";
import type { ProtocolEntry } from "./protocolTape.ts";
import { commentsOf } from "./traceComments.ts";

// The connection's packets as made-up TCP segments, one packet a segment. Addresses are those that
// RFC 5737 keeps for documents; the greeting is made up, so that no name of a computer is in it.
// Sources: RFC 791 and RFC 9293 for the headers, RFC 1071 for the checksum.

const HOST = [192, 0, 2, 1];
const CAMERA = [192, 0, 2, 7];
const PORTS = { command: 50_000, event: 50_001 } as const;
const FLAGS = { syn: 0x02, push: 0x08, acknowledge: 0x10 } as const;
const IP_BYTES = 20;
const TCP_BYTES = 20;
/** Payload of one segment; an IP packet has 65,535 bytes at most. */
const SEGMENT_BYTES_MAX = 60_000;

type Stream = { readonly hostPort: number; host: number; camera: number };
type Direction = "fromHost" | "fromCamera";

/** Turns entries of the protocol into segments of two TCP connections. */
export class IpPackets {
  readonly #command: Stream = { hostPort: PORTS.command, host: 1000, camera: 2000 };
  readonly #event: Stream = { hostPort: PORTS.event, host: 3000, camera: 4000 };

  /** Both connections' beginnings. */
  begin(atUtcMs: number): readonly CapturedPacket[] {
    const introduction = {
      guid: new Uint8Array(16),
      friendlyName: "left out",
      protocolVersion: IP_PROTOCOL_VERSION,
    };
    const say = (stream: Stream, direction: Direction, packet: IpPacket): CapturedPacket => ({
      ...segment(stream, direction, { atUtcMs, payload: encodeIpPacket(packet) }),
      comment: "made up: names are left out",
    });
    return [
      ...handshake(this.#command, atUtcMs),
      say(this.#command, "fromHost", { kind: "initCommandRequest", ...introduction }),
      say(this.#command, "fromCamera", {
        ...{ kind: "initCommandAck", connectionNumber: 1, ...introduction },
      }),
      ...handshake(this.#event, atUtcMs),
      say(this.#event, "fromHost", { kind: "initEventRequest", connectionNumber: 1 }),
      say(this.#event, "fromCamera", { kind: "initEventAck" }),
    ];
  }

  packets(entry: ProtocolEntry): readonly CapturedPacket[] {
    const comments = commentsOf(entry);
    if (entry.kind === "event") {
      const { eventCode: code, atUtcMs, parameters } = entry;
      const id = transactionId(entry.transactionId);
      const packet: IpPacket = { kind: "event", code, transactionId: id, parameters };
      const payload = encodeIpPacket(packet);
      return [
        { ...segment(this.#event, "fromCamera", { atUtcMs, payload }), comment: comments.first },
      ];
    }
    return [...this.#asked(entry, comments.first), ...this.#answered(entry, comments.last)];
  }

  #asked(entry: Transaction, comment: string): readonly CapturedPacket[] {
    const { operationCode: code, parameters, dataOut, sentUtcMs: atUtcMs } = entry;
    const id = transactionId(entry.transactionId);
    const dataPhaseInfo =
      dataOut === null ? DATA_PHASE_INFO.noneOrToInitiator : DATA_PHASE_INFO.toResponder;
    const payload = encodeIpPacket({
      ...{ kind: "operationRequest", code, dataPhaseInfo, transactionId: id, parameters },
    });
    const request = { ...segment(this.#command, "fromHost", { atUtcMs, payload }), comment };
    if (dataOut === null) return [request];
    const whole = { id, kept: dataOut, totalBytes: dataOut.byteLength, atUtcMs };
    return [request, ...this.#data("fromHost", whole)];
  }

  #answered(entry: Transaction, comment: string): readonly CapturedPacket[] {
    const { dataIn: kept, dataInBytes, endedUtcMs: atUtcMs, response } = entry;
    const id = transactionId(entry.transactionId);
    const totalBytes = Math.max(dataInBytes, kept.byteLength);
    const data =
      totalBytes === 0 ? [] : this.#data("fromCamera", { id, kept, totalBytes, atUtcMs });
    if (response === null) return data;
    const { code, parameters } = response;
    const payload = encodeIpPacket({
      ...{ kind: "operationResponse", code, transactionId: id, parameters },
    });
    return [...data, { ...segment(this.#command, "fromCamera", { atUtcMs, payload }), comment }];
  }

  /** A data phase; what was not kept of it is cut off its packets, as a capture cuts. */
  #data(
    direction: Direction,
    data: {
      readonly id: ReturnType<typeof transactionId>;
      readonly kept: Uint8Array;
      readonly totalBytes: number;
      readonly atUtcMs: number;
    },
  ): readonly CapturedPacket[] {
    const { id, kept, totalBytes, atUtcMs } = data;
    const start = encodeIpPacket({
      ...{ kind: "startData", transactionId: id, totalBytes: BigInt(totalBytes) },
    });
    const packets = [segment(this.#command, direction, { atUtcMs, payload: start })];
    for (let from = 0; from < totalBytes; from += SEGMENT_BYTES_MAX) {
      const bytes = Math.min(SEGMENT_BYTES_MAX, totalBytes - from);
      const isLast = from + bytes >= totalBytes;
      const piece = new Uint8Array(bytes);
      const there = kept.subarray(from, from + bytes);
      piece.set(there);
      const payload = encodeIpPacket({
        ...{ kind: isLast ? "endData" : "data", transactionId: id, payload: piece },
      });
      const keptBytes = IP_DATA_HEADER_BYTES + there.byteLength;
      packets.push(segment(this.#command, direction, { atUtcMs, payload, keptBytes }));
    }
    return packets;
  }
}

type Transaction = Extract<ProtocolEntry, { kind: "transaction" }>;

function handshake(stream: Stream, atUtcMs: number): readonly CapturedPacket[] {
  const payload = new Uint8Array(0);
  return [
    segment(stream, "fromHost", { atUtcMs, payload, flags: FLAGS.syn }),
    segment(stream, "fromCamera", { atUtcMs, payload, flags: FLAGS.syn | FLAGS.acknowledge }),
    segment(stream, "fromHost", { atUtcMs, payload, flags: FLAGS.acknowledge }),
  ];
}

function segment(
  stream: Stream,
  direction: Direction,
  what: {
    readonly atUtcMs: number;
    readonly payload: Uint8Array;
    /** Of the payload; left out: all. */
    readonly keptBytes?: number;
    readonly flags?: number;
  },
): CapturedPacket {
  const { atUtcMs, payload, keptBytes = payload.byteLength } = what;
  const { flags = FLAGS.push | FLAGS.acknowledge } = what;
  const isFromHost = direction === "fromHost";
  const tcp = Buffer.alloc(TCP_BYTES);
  tcp.writeUInt16BE(isFromHost ? stream.hostPort : IP_PORT, 0);
  tcp.writeUInt16BE(isFromHost ? IP_PORT : stream.hostPort, 2);
  tcp.writeUInt32BE((isFromHost ? stream.host : stream.camera) >>> 0, 4);
  const isAcknowledging = (flags & FLAGS.acknowledge) !== 0;
  tcp.writeUInt32BE(isAcknowledging ? (isFromHost ? stream.camera : stream.host) >>> 0 : 0, 8);
  tcp[12] = (TCP_BYTES / 4) << 4;
  tcp[13] = flags;
  tcp.writeUInt16BE(0xffff, 14);
  const usedBytes = payload.byteLength + (flags & FLAGS.syn ? 1 : 0);
  if (isFromHost) stream.host = (stream.host + usedBytes) % 2 ** 32;
  else stream.camera = (stream.camera + usedBytes) % 2 ** 32;
  const [source, target] = isFromHost ? [HOST, CAMERA] : [CAMERA, HOST];
  const pseudo = Buffer.from([...source, ...target, 0, 6, 0, 0]);
  pseudo.writeUInt16BE(TCP_BYTES + payload.byteLength, 10);
  tcp.writeUInt16BE(checksum(Buffer.concat([pseudo, tcp, payload])), 16);
  const ip = Buffer.alloc(IP_BYTES);
  ip[0] = 0x45;
  ip.writeUInt16BE(IP_BYTES + TCP_BYTES + payload.byteLength, 2);
  ip[8] = 64;
  ip[9] = 6;
  ip.set([...source, ...target], 12);
  ip.writeUInt16BE(checksum(ip), 10);
  return {
    atUtcMs,
    bytes: Buffer.concat([ip, tcp, payload.subarray(0, keptBytes)]),
    originalBytes: IP_BYTES + TCP_BYTES + payload.byteLength,
  };
}

function checksum(bytes: Buffer): number {
  let sum = 0;
  for (let at = 0; at < bytes.length; at += 2) sum += (bytes[at]! << 8) | (bytes[at + 1] ?? 0);
  while (sum > 0xffff) sum = (sum & 0xffff) + Math.floor(sum / 0x10000);
  return ~sum & 0xffff;
}
