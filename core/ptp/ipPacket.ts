import { NightError } from "../errors.ts";
import { transactionId, type TransactionId } from "./ids.ts";
import { createReader, type Reader } from "./reader.ts";
import { createWriter, type Writer } from "./writer.ts";

/** The registered TCP port. */
export const IP_PORT = 15740;

/** Bytes of the header (length and type) that every packet begins with. */
export const IP_HEADER_BYTES = 8;

/** Bytes before the payload of a data packet: the header and the transaction. */
export const IP_DATA_HEADER_BYTES = 12;

/** Version 1.0: major in the upper 16 bits, minor in the lower. */
export const IP_PROTOCOL_VERSION = 0x00010000;

/** A StartData length that says "read until EndData". */
export const IP_LENGTH_UNKNOWN = 0xffffffffffffffffn;

/** Most visible characters of a friendly name; from memory, unconfirmed. */
const FRIENDLY_NAME_UNITS_MAX = 39;

/** Data-phase information of a request; values from memory, unconfirmed. */
export const DATA_PHASE_INFO = { unknown: 0, noneOrToInitiator: 1, toResponder: 2 } as const;

/** Reasons of InitFail; from memory, unconfirmed: treat any other as unspecified. */
export const INIT_FAIL_REASONS = { rejectedInitiator: 1, busy: 2, unspecified: 3 } as const;

/** Packet types. Source: the section list of CIPA DC-X005 §2.3.1 to §2.3.14 and a capture of them. */
export const IP_PACKET_TYPES = {
  initCommandRequest: 1,
  initCommandAck: 2,
  initEventRequest: 3,
  initEventAck: 4,
  initFail: 5,
  operationRequest: 6,
  operationResponse: 7,
  event: 8,
  startData: 9,
  data: 10,
  cancel: 11,
  endData: 12,
  probeRequest: 13,
  probeResponse: 14,
} as const;

type Parameters = {
  readonly code: number;
  readonly transactionId: TransactionId;
  readonly parameters: readonly number[];
};
type DataPiece = {
  readonly transactionId: TransactionId;
  readonly payload: Uint8Array;
};
type Introduction = {
  /** 16 opaque bytes, sent as they are. */
  readonly guid: Uint8Array;
  readonly friendlyName: string;
  readonly protocolVersion: number;
};

/** Everything that travels over the two TCP connections. */
export type IpPacket =
  | ({ readonly kind: "initCommandRequest" } & Introduction)
  | ({ readonly kind: "initCommandAck"; readonly connectionNumber: number } & Introduction)
  | { readonly kind: "initEventRequest"; readonly connectionNumber: number }
  | { readonly kind: "initEventAck" }
  | { readonly kind: "initFail"; readonly reason: number }
  | ({ readonly kind: "operationRequest"; readonly dataPhaseInfo: number } & Parameters)
  | ({ readonly kind: "operationResponse" } & Parameters)
  | ({ readonly kind: "event" } & Parameters)
  | {
      readonly kind: "startData";
      readonly transactionId: TransactionId;
      /** Bytes of the whole data phase, or `IP_LENGTH_UNKNOWN`. */
      readonly totalBytes: bigint;
    }
  | ({ readonly kind: "data" } & DataPiece)
  | ({ readonly kind: "endData" } & DataPiece)
  | { readonly kind: "cancel"; readonly transactionId: TransactionId }
  | { readonly kind: "probeRequest" }
  | { readonly kind: "probeResponse" }
  /** A type that nobody has defined: to be skipped. */
  | { readonly kind: "unknown"; readonly type: number; readonly payload: Uint8Array };

/**
 * Writes one packet, header included.
 * @throws NightError `quantity.out_of_range` when a field does not fit (a GUID that is not 16
 * bytes, more than 5 parameters, 3 for an event).
 */
export function encodeIpPacket(packet: IpPacket): Uint8Array {
  if (packet.kind === "data" || packet.kind === "endData") return encodeData(packet);
  const body = createWriter();
  writeBody(body, packet);
  const payload = body.toBytes();
  const writer = createWriter();
  writer.u32(IP_HEADER_BYTES + payload.byteLength);
  writer.u32(packet.kind === "unknown" ? packet.type : IP_PACKET_TYPES[packet.kind]);
  writer.bytes(payload);
  return writer.toBytes();
}

type DataPacket = Extract<IpPacket, { readonly kind: "data" | "endData" }>;

/** Pictures travel here, so the payload is copied once only. */
function encodeData(packet: DataPacket): Uint8Array {
  const bytes = new Uint8Array(IP_DATA_HEADER_BYTES + packet.payload.byteLength);
  const view = new DataView(bytes.buffer);
  view.setUint32(0, bytes.byteLength, true);
  view.setUint32(4, IP_PACKET_TYPES[packet.kind], true);
  view.setUint32(8, packet.transactionId, true);
  bytes.set(packet.payload, IP_DATA_HEADER_BYTES);
  return bytes;
}

function writeBody(writer: Writer, packet: Exclude<IpPacket, DataPacket>): void {
  switch (packet.kind) {
    case "initCommandRequest":
      return writeIntroduction(writer, packet);
    case "initCommandAck":
      writer.u32(packet.connectionNumber);
      return writeIntroduction(writer, packet);
    case "initEventRequest":
      return writer.u32(packet.connectionNumber);
    case "initFail":
      return writer.u32(packet.reason);
    case "operationRequest":
      writer.u32(packet.dataPhaseInfo);
      return writeParameters(writer, packet, 5);
    case "operationResponse":
      return writeParameters(writer, packet, 5);
    case "event":
      return writeParameters(writer, packet, 3);
    case "startData":
      writer.u32(packet.transactionId);
      return writer.u64(packet.totalBytes);
    case "cancel":
      return writer.u32(packet.transactionId);
    case "unknown":
      return writer.bytes(packet.payload);
    case "initEventAck":
    case "probeRequest":
    case "probeResponse":
  }
}

/**
 * Reads one whole packet, header included.
 *
 * Tolerant where senders differ: a version left out of an introduction is 1.0, a friendly name
 * may lack its NUL, an InitFail without a reason is "unspecified", a probe, an InitEventAck or a
 * Cancel may carry more than defined. An unknown type is kept as `unknown`.
 *
 * @throws NightError `ptp.truncated` or `ptp.malformed` when the length does not fit the type.
 */
export function decodeIpPacket(bytes: Uint8Array): IpPacket {
  const reader = createReader(bytes, "a PTP/IP packet");
  const packetBytes = reader.u32();
  const type = reader.u32();
  checkLength(packetBytes, type);
  if (packetBytes !== bytes.byteLength) {
    throw new NightError("ptp.malformed", "a PTP/IP packet's length is not that of its bytes", {
      packetBytes,
      bytes: bytes.byteLength,
    });
  }
  return readBody(reader, type);
}

function readBody(reader: Reader, type: number): IpPacket {
  switch (type) {
    case IP_PACKET_TYPES.initCommandRequest:
      return { kind: "initCommandRequest", ...readIntroduction(reader) };
    case IP_PACKET_TYPES.initCommandAck:
      return {
        kind: "initCommandAck",
        connectionNumber: reader.u32(),
        ...readIntroduction(reader),
      };
    case IP_PACKET_TYPES.initEventRequest:
      return { kind: "initEventRequest", connectionNumber: reader.u32() };
    case IP_PACKET_TYPES.initEventAck:
      return { kind: "initEventAck" };
    case IP_PACKET_TYPES.initFail:
      return {
        kind: "initFail",
        reason: reader.remaining() >= 4 ? reader.u32() : INIT_FAIL_REASONS.unspecified,
      };
    case IP_PACKET_TYPES.operationRequest:
      return {
        kind: "operationRequest",
        dataPhaseInfo: reader.u32(),
        ...readParameters(reader),
      };
    case IP_PACKET_TYPES.operationResponse:
      return { kind: "operationResponse", ...readParameters(reader) };
    case IP_PACKET_TYPES.event:
      return { kind: "event", ...readParameters(reader) };
    case IP_PACKET_TYPES.startData:
      return {
        kind: "startData",
        transactionId: transactionId(reader.u32()),
        totalBytes: reader.u64(),
      };
    case IP_PACKET_TYPES.data:
    case IP_PACKET_TYPES.endData:
      return {
        kind: type === IP_PACKET_TYPES.data ? "data" : "endData",
        transactionId: transactionId(reader.u32()),
        payload: reader.bytes(reader.remaining()),
      };
    case IP_PACKET_TYPES.cancel:
      return { kind: "cancel", transactionId: transactionId(reader.u32()) };
    case IP_PACKET_TYPES.probeRequest:
      return { kind: "probeRequest" };
    case IP_PACKET_TYPES.probeResponse:
      return { kind: "probeResponse" };
    default:
      return { kind: "unknown", type, payload: reader.bytes(reader.remaining()) };
  }
}

/** Shortest and longest legal length by type; parameters come in fours. */
const LENGTHS: Readonly<Record<number, { min: number; max: number; isParameters?: true }>> = {
  [IP_PACKET_TYPES.initCommandRequest]: { min: 24, max: 0x10000 },
  [IP_PACKET_TYPES.initCommandAck]: { min: 28, max: 0x10000 },
  [IP_PACKET_TYPES.initEventRequest]: { min: 12, max: 12 },
  [IP_PACKET_TYPES.initEventAck]: { min: 8, max: 0x10000 },
  [IP_PACKET_TYPES.initFail]: { min: 8, max: 0x10000 },
  [IP_PACKET_TYPES.operationRequest]: { min: 18, max: 38, isParameters: true },
  [IP_PACKET_TYPES.operationResponse]: { min: 14, max: 34, isParameters: true },
  [IP_PACKET_TYPES.event]: { min: 14, max: 26, isParameters: true },
  [IP_PACKET_TYPES.startData]: { min: 20, max: 20 },
  [IP_PACKET_TYPES.data]: { min: 12, max: 0x1000000 },
  [IP_PACKET_TYPES.cancel]: { min: 12, max: 0x10000 },
  [IP_PACKET_TYPES.endData]: { min: 12, max: 0x1000000 },
  [IP_PACKET_TYPES.probeRequest]: { min: 8, max: 0x10000 },
  [IP_PACKET_TYPES.probeResponse]: { min: 8, max: 0x10000 },
};
const UNKNOWN_LENGTHS: { min: number; max: number; isParameters?: true } = {
  min: IP_HEADER_BYTES,
  max: 0x10000,
};

/**
 * Checks an announced length before anything is allocated for it: 64 KiB at most, 16 MiB for data.
 * @throws NightError `ptp.malformed`: the stream cannot be followed any further, drop it.
 */
export function checkLength(packetBytes: number, type: number): void {
  const { min, max, isParameters } = LENGTHS[type] ?? UNKNOWN_LENGTHS;
  const isInFours = isParameters !== true || (packetBytes - min) % 4 === 0;
  if (packetBytes < min || packetBytes > max || !isInFours) {
    throw new NightError(
      "ptp.malformed",
      "a PTP/IP packet has a length that its type cannot have",
      {
        packetBytes,
        type,
      },
    );
  }
}

function writeIntroduction(writer: Writer, introduction: Introduction): void {
  if (introduction.guid.byteLength !== 16) {
    throw new NightError("quantity.out_of_range", "a GUID is 16 bytes", {
      bytes: introduction.guid.byteLength,
    });
  }
  writer.bytes(introduction.guid);
  writer.terminatedString(introduction.friendlyName, FRIENDLY_NAME_UNITS_MAX);
  writer.u32(introduction.protocolVersion);
}

/** The version is the last four bytes; some senders leave it out, and some the NUL before it. */
function readIntroduction(reader: Reader): Introduction {
  const guid = reader.bytes(16).slice();
  const rest = reader.bytes(reader.remaining());
  const name = createReader(rest, "a friendly name");
  const friendlyName = name.terminatedString();
  if (name.remaining() >= 4) {
    return { guid, friendlyName, protocolVersion: name.u32() };
  }
  return { guid, friendlyName, protocolVersion: IP_PROTOCOL_VERSION };
}

function writeParameters(writer: Writer, packet: Parameters, countMax: number): void {
  if (packet.parameters.length > countMax) {
    throw new NightError("quantity.out_of_range", `at most ${countMax} parameters can be sent`, {
      count: packet.parameters.length,
    });
  }
  writer.u16(packet.code);
  writer.u32(packet.transactionId);
  for (const parameter of packet.parameters) writer.u32(parameter);
}

function readParameters(reader: Reader): Parameters {
  const code = reader.u16();
  const id = transactionId(reader.u32());
  const count = reader.remaining() / 4;
  return { code, transactionId: id, parameters: Array.from({ length: count }, () => reader.u32()) };
}
