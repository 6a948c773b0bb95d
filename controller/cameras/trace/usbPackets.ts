import {
  CONTAINER_HEADER_BYTES,
  encodeContainer,
  encodeDataHeader,
} from "../../../core/ptp/container.ts";
import { transactionId } from "../../../core/ptp/ids.ts";
import type { CapturedPacket } from "./pcapng.ts";
import type { ProtocolEntry } from "./protocolTape.ts";
import { commentsOf } from "./traceComments.ts";

// The containers as USB requests with Linux's own header before them. Source: the list of link types
// of the tcpdump group, LINKTYPE_USB_LINUX_MMAPPED (220): 64 bytes, in the computer's byte order.

const HEADER_BYTES = 64;
const KINDS = { submitted: 0x53, completed: 0x43 } as const;
const TRANSFERS = { interrupt: 1, bulk: 3 } as const;
/** Made-up numbers of the three endpoints; the upper bit says towards the computer. */
const ENDPOINTS = { out: 0x02, in: 0x81, events: 0x83 } as const;
const NO_SETUP = 0x2d;
const DATA = { isThere: 0, notYet: 0x3c, gone: 0x3e } as const;
/** What Linux says of a request that is still under way. */
const IN_PROGRESS = -115;

type Transfer = {
  readonly atUtcMs: number;
  readonly endpoint: number;
  readonly bytes: Uint8Array;
  readonly totalBytes: number;
  readonly comment?: string;
};

/** Turns entries of the protocol into USB requests and their completions. */
export class UsbPackets {
  #id = 0n;

  begin(): readonly CapturedPacket[] {
    return [];
  }

  packets(entry: ProtocolEntry): readonly CapturedPacket[] {
    const id = transactionId(entry.transactionId);
    const comments = commentsOf(entry);
    if (entry.kind === "event") {
      const { eventCode: code, parameters, atUtcMs } = entry;
      const bytes = encodeContainer({ kind: "event", code, transactionId: id, parameters });
      return this.#transfer({
        ...{ atUtcMs, endpoint: ENDPOINTS.events, bytes, totalBytes: bytes.byteLength },
        comment: comments.first,
      });
    }
    const { operationCode: code, parameters, dataOut, dataIn, dataInBytes, response } = entry;
    const { sentUtcMs, endedUtcMs } = entry;
    const asked = encodeContainer({ kind: "command", code, transactionId: id, parameters });
    const transfers: Transfer[] = [
      {
        ...{ atUtcMs: sentUtcMs, endpoint: ENDPOINTS.out, bytes: asked },
        ...{ totalBytes: asked.byteLength, comment: comments.first },
      },
    ];
    const data = (
      bytes: Uint8Array,
      totalBytes: number,
    ): Pick<Transfer, "bytes" | "totalBytes"> => ({
      bytes: Buffer.concat([encodeDataHeader({ code, transactionId: id }, totalBytes), bytes]),
      totalBytes: CONTAINER_HEADER_BYTES + totalBytes,
    });
    if (dataOut !== null) {
      const sent = data(dataOut, dataOut.byteLength);
      transfers.push({ atUtcMs: sentUtcMs, endpoint: ENDPOINTS.out, ...sent });
    }
    if (dataInBytes > 0 || dataIn.byteLength > 0) {
      const came = data(dataIn, Math.max(dataInBytes, dataIn.byteLength));
      transfers.push({ atUtcMs: endedUtcMs, endpoint: ENDPOINTS.in, ...came });
    }
    if (response !== null) {
      const bytes = encodeContainer({ kind: "response", transactionId: id, ...response });
      transfers.push({
        ...{ atUtcMs: endedUtcMs, endpoint: ENDPOINTS.in, bytes, totalBytes: bytes.byteLength },
        comment: comments.last,
      });
    }
    return transfers.flatMap((transfer) => this.#transfer(transfer));
  }

  /** Data goes with the request towards the camera, and with its completion towards the computer. */
  #transfer(transfer: Transfer): readonly CapturedPacket[] {
    this.#id += 1n;
    const isIn = (transfer.endpoint & 0x80) !== 0;
    const { comment, ...bare } = transfer;
    const commented = comment === undefined ? {} : { comment };
    const submitted = this.#packet(bare, { kind: "submitted", hasData: !isIn });
    const completed = this.#packet(bare, { kind: "completed", hasData: isIn });
    return isIn
      ? [submitted, { ...completed, ...commented }]
      : [{ ...submitted, ...commented }, completed];
  }

  #packet(
    { atUtcMs, endpoint, bytes, totalBytes }: Transfer,
    { kind, hasData }: { readonly kind: keyof typeof KINDS; readonly hasData: boolean },
  ): CapturedPacket {
    const head = Buffer.alloc(HEADER_BYTES);
    head.writeBigUInt64LE(this.#id, 0);
    head[8] = KINDS[kind];
    head[9] = endpoint === ENDPOINTS.events ? TRANSFERS.interrupt : TRANSFERS.bulk;
    head[10] = endpoint;
    head[11] = 1;
    head.writeUInt16LE(1, 12);
    head[14] = NO_SETUP;
    head[15] = hasData ? DATA.isThere : kind === "submitted" ? DATA.notYet : DATA.gone;
    const atUs = Math.round(atUtcMs * 1000);
    head.writeBigInt64LE(BigInt(Math.floor(atUs / 1e6)), 16);
    head.writeInt32LE(atUs % 1e6, 24);
    head.writeInt32LE(kind === "submitted" ? IN_PROGRESS : 0, 28);
    head.writeUInt32LE(totalBytes, 32);
    head.writeUInt32LE(hasData ? bytes.byteLength : 0, 36);
    const body = hasData ? bytes : new Uint8Array(0);
    return {
      atUtcMs,
      bytes: Buffer.concat([head, body]),
      originalBytes: HEADER_BYTES + (hasData ? totalBytes : 0),
    };
  }
}
