import { ByteSink, ByteSource } from "./bytes.ts";

/** Packet types. Source: CIPA DC-005, §2.3.1 to §2.3.14. */
export const PACKET = {
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

/** Reasons of an Init Fail. From memory, unconfirmed. */
export const INIT_FAIL = { rejected: 1, busy: 2, unspecified: 3 } as const;

export type Packet = { readonly type: number; readonly payload: Buffer };

/** Length, type, payload; the length counts itself. */
export function packet(type: number, payload: Uint8Array = Buffer.alloc(0)): Buffer {
  return new ByteSink()
    .u32(payload.length + 8)
    .u32(type)
    .raw(payload)
    .bytes();
}

/** Cuts a stream into packets, however its bytes arrive. */
export class PacketCutter {
  #rest = Buffer.alloc(0);

  /** @throws RangeError on a length that no packet can have. */
  push(chunk: Buffer): readonly Packet[] {
    this.#rest = Buffer.concat([this.#rest, chunk]);
    const packets: Packet[] = [];
    while (this.#rest.length >= 8) {
      const head = new ByteSource(this.#rest);
      const length = head.u32();
      if (length < 8 || length > 1 << 24) throw new RangeError(`a packet of ${length} bytes`);
      if (this.#rest.length < length) break;
      packets.push({ type: head.u32(), payload: this.#rest.subarray(8, length) });
      this.#rest = this.#rest.subarray(length);
    }
    return packets;
  }
}

export type Request = {
  readonly dataPhase: number;
  readonly operation: number;
  readonly transaction: number;
  readonly parameters: readonly number[];
};

/** @throws RangeError where the packet is no operation request. */
export function readRequest(payload: Buffer): Request {
  const source = new ByteSource(payload);
  const dataPhase = source.u32();
  const operation = source.u16();
  const transaction = source.u32();
  if (source.left % 4 !== 0 || source.left > 20) throw new RangeError("parameters do not fit");
  const parameters: number[] = [];
  while (source.left > 0) parameters.push(source.u32());
  return { dataPhase, operation, transaction, parameters };
}

export function responsePacket(
  code: number,
  transaction: number,
  parameters: readonly number[] = [],
): Buffer {
  const sink = new ByteSink().u16(code).u32(transaction);
  for (const parameter of parameters) sink.u32(parameter);
  return packet(PACKET.operationResponse, sink.bytes());
}

export function eventPacket(
  code: number,
  transaction: number,
  parameters: readonly number[],
): Buffer {
  const sink = new ByteSink().u16(code).u32(transaction);
  for (const parameter of parameters) sink.u32(parameter);
  return packet(PACKET.event, sink.bytes());
}

/** Start, pieces and end of a data phase; pieces of 32 kB so that a slow link can be seen at work. */
export function dataPackets(transaction: number, bytes: Buffer): readonly Buffer[] {
  const head = new ByteSink().u32(transaction).u64(BigInt(bytes.length)).bytes();
  const packets = [packet(PACKET.startData, head)];
  const pieceBytes = 32 * 1024;
  let at = 0;
  for (; bytes.length - at > pieceBytes; at += pieceBytes) {
    const piece = new ByteSink().u32(transaction).raw(bytes.subarray(at, at + pieceBytes));
    packets.push(packet(PACKET.data, piece.bytes()));
  }
  const last = new ByteSink().u32(transaction).raw(bytes.subarray(at));
  return [...packets, packet(PACKET.endData, last.bytes())];
}
