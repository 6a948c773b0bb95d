// Blocks of a capture file. Source: draft-ietf-opsawg-pcapng (section header, interface description,
// enhanced packet); link types from the list of the tcpdump group.

/** Bare IPv4 or IPv6, and a USB request with Linux's own 64 bytes before it. */
export const LINK_TYPES = { rawIp: 101, usbLinuxMmapped: 220 } as const;
type LinkType = (typeof LINK_TYPES)[keyof typeof LINK_TYPES];

/** One packet of a capture; `originalBytes` is more than there is where it was cut. */
export type CapturedPacket = {
  readonly atUtcMs: number;
  readonly bytes: Uint8Array;
  readonly originalBytes: number;
  /** Plain words beside it; left out: none. */
  readonly comment?: string;
};

const BYTE_ORDER_MAGIC = 0x1a2b3c4d;
const BLOCKS = { section: 0x0a0d0d0a, interface: 1, packet: 6 } as const;
const OPTION_COMMENT = 1;
const OPTION_APPLICATION = 4;

/** What a capture begins with: the section, and its one interface. */
export function captureHeader(linkType: LinkType, comment: string): Uint8Array {
  const section = Buffer.alloc(16);
  section.writeUInt32LE(BYTE_ORDER_MAGIC, 0);
  section.writeUInt16LE(1, 4);
  // The section's length is not known while it is written.
  section.writeBigInt64LE(-1n, 8);
  const options = Buffer.concat([
    option(OPTION_COMMENT, comment),
    option(OPTION_APPLICATION, "nattvakt"),
    END_OF_OPTIONS,
  ]);
  const described = Buffer.alloc(8);
  described.writeUInt16LE(linkType, 0);
  return Buffer.concat([
    block(BLOCKS.section, Buffer.concat([section, options])),
    block(BLOCKS.interface, described),
  ]);
}

/** Time in microseconds, as an interface counts that says nothing else. */
export function packetBlock({
  atUtcMs,
  bytes,
  originalBytes,
  comment,
}: CapturedPacket): Uint8Array {
  const head = Buffer.alloc(20);
  const atUs = BigInt(Math.round(atUtcMs * 1000));
  head.writeUInt32LE(Number(atUs >> 32n), 4);
  head.writeUInt32LE(Number(atUs & 0xffffffffn), 8);
  head.writeUInt32LE(bytes.byteLength, 12);
  head.writeUInt32LE(originalBytes, 16);
  const options = comment === undefined ? [] : [option(OPTION_COMMENT, comment), END_OF_OPTIONS];
  return block(BLOCKS.packet, Buffer.concat([head, padded(bytes), ...options]));
}

const END_OF_OPTIONS = Buffer.alloc(4);

function option(code: number, text: string): Buffer {
  const bytes = Buffer.from(text, "utf8");
  const head = Buffer.alloc(4);
  head.writeUInt16LE(code, 0);
  head.writeUInt16LE(bytes.byteLength, 2);
  return Buffer.concat([head, padded(bytes)]);
}

function block(type: number, body: Uint8Array): Buffer {
  const head = Buffer.alloc(8);
  head.writeUInt32LE(type, 0);
  head.writeUInt32LE(body.byteLength + 12, 4);
  return Buffer.concat([head, body, head.subarray(4)]);
}

/** Everything in a block begins at a multiple of four bytes. */
function padded(bytes: Uint8Array): Buffer {
  return Buffer.concat([bytes, Buffer.alloc((4 - (bytes.byteLength % 4)) % 4)]);
}
