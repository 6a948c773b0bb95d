import { NightError } from "../errors.ts";
import { transactionId, type TransactionId } from "./ids.ts";
import { createReader } from "./reader.ts";
import { createWriter } from "./writer.ts";

/** Bytes of the header that every USB container begins with. */
export const CONTAINER_HEADER_BYTES = 12;

/** A length that says "until the short packet": data of 4 GiB and more. */
export const LENGTH_UNKNOWN = 0xffffffff;

/** Most parameters of a command or response. Source: MTP 1.1 §4.7.3. */
const PARAMETERS_MAX = 5;
/** Most parameters of an event. Source: MTP 1.1 §4.8.3. */
const EVENT_PARAMETERS_MAX = 3;

const TYPES = { command: 1, data: 2, response: 3, event: 4 } as const;

/** What a container carries. */
type ContainerKind = keyof typeof TYPES;

/** The first 12 bytes of a container. */
export type ContainerHeader = {
  readonly kind: ContainerKind;
  /** The whole container, header included; `LENGTH_UNKNOWN` for huge data. */
  readonly containerBytes: number;
  /** Operation code of a command and its data; else response or event code. */
  readonly code: number;
  readonly transactionId: TransactionId;
};

/** What goes over the USB pipes. */
export type Container =
  | {
      readonly kind: "command" | "response" | "event";
      readonly code: number;
      readonly transactionId: TransactionId;
      readonly parameters: readonly number[];
    }
  | {
      readonly kind: "data";
      readonly code: number;
      readonly transactionId: TransactionId;
      readonly payload: Uint8Array;
    };

/** Writes a container. @throws NightError `quantity.out_of_range` on too many parameters. */
export function encodeContainer(container: Container): Uint8Array {
  const writer = createWriter();
  if (container.kind === "data") {
    const header = encodeDataHeader(container, container.payload.byteLength);
    writer.bytes(header);
    writer.bytes(container.payload);
    return writer.toBytes();
  }
  const countMax = container.kind === "event" ? EVENT_PARAMETERS_MAX : PARAMETERS_MAX;
  if (container.parameters.length > countMax) {
    throw new NightError("quantity.out_of_range", `a ${container.kind} has too many parameters`, {
      count: container.parameters.length,
    });
  }
  writer.u32(CONTAINER_HEADER_BYTES + container.parameters.length * 4);
  writer.u16(TYPES[container.kind]);
  writer.u16(container.code);
  writer.u32(container.transactionId);
  for (const parameter of container.parameters) writer.u32(parameter);
  return writer.toBytes();
}

/**
 * The header alone of a data container, for payloads that are sent in pieces.
 * @param payloadBytes  4 GiB − 12 and more is sent as `LENGTH_UNKNOWN`. Source: MTP 1.1 H.1.
 */
export function encodeDataHeader(
  container: { readonly code: number; readonly transactionId: TransactionId },
  payloadBytes: number,
): Uint8Array {
  const writer = createWriter();
  writer.u32(Math.min(LENGTH_UNKNOWN, CONTAINER_HEADER_BYTES + payloadBytes));
  writer.u16(TYPES.data);
  writer.u16(container.code);
  writer.u32(container.transactionId);
  return writer.toBytes();
}

/**
 * Reads a container's header from its first 12 bytes; bytes after them are not looked at.
 *
 * @throws NightError `ptp.truncated` below 12 bytes; `ptp.malformed` for a length below 12, an
 * unknown type, an unknown length outside data, or a length that is no legal number of parameters.
 */
export function decodeContainerHeader(bytes: Uint8Array): ContainerHeader {
  const reader = createReader(bytes, "a USB container");
  const containerBytes = reader.u32();
  const type = reader.u16();
  const code = reader.u16();
  const id = transactionId(reader.u32());
  const kind = kindOf(type);
  if (kind === null || containerBytes < CONTAINER_HEADER_BYTES) {
    throw new NightError("ptp.malformed", "these bytes are not a USB container", {
      containerBytes,
      type,
    });
  }
  if (kind !== "data") {
    const countMax = kind === "event" ? EVENT_PARAMETERS_MAX : PARAMETERS_MAX;
    const count = (containerBytes - CONTAINER_HEADER_BYTES) / 4;
    if (!Number.isInteger(count) || count > countMax) {
      throw new NightError("ptp.malformed", `a ${kind} cannot be ${containerBytes} bytes long`, {
        containerBytes,
      });
    }
  }
  return { kind, containerBytes, code, transactionId: id };
}

/**
 * Reads a whole container. Data of unknown length takes all the bytes there are.
 *
 * @throws NightError as `decodeContainerHeader`; `ptp.truncated` when fewer bytes are there than
 * the header announces, `ptp.trailing_bytes` when more.
 */
export function decodeContainer(bytes: Uint8Array): Container {
  const header = decodeContainerHeader(bytes);
  const { kind, code, transactionId: id } = header;
  const reader = createReader(bytes, `a USB ${kind} container`);
  reader.bytes(CONTAINER_HEADER_BYTES);
  const payloadBytes =
    header.containerBytes === LENGTH_UNKNOWN
      ? reader.remaining()
      : header.containerBytes - CONTAINER_HEADER_BYTES;
  const payload = reader.bytes(payloadBytes);
  reader.end();
  if (kind === "data") return { kind, code, transactionId: id, payload };
  const fields = createReader(payload);
  const parameters = Array.from({ length: payloadBytes / 4 }, () => fields.u32());
  return { kind, code, transactionId: id, parameters };
}

function kindOf(type: number): ContainerKind | null {
  for (const [kind, value] of Object.entries(TYPES)) {
    if (value === type) return kind as ContainerKind;
  }
  return null;
}
