// Writes a capture file of TCP connections, one PTP/IP packet a segment, so that a network analyser
// sees each of them whole. Sources: the libpcap file format (magic a1b2c3d4, version 2.4, link type
// 101 for bare IP), RFC 791 and RFC 9293 for the headers.
import type { RecordedPacket } from "./recordingProxy.ts";

const HOST_ADDRESS = [192, 0, 2, 1];
const CAMERA_ADDRESS = [192, 0, 2, 7];
const FIRST_HOST_PORT = 50_000;
const FLAGS = { fin: 0x01, syn: 0x02, push: 0x08, acknowledge: 0x10 };

/** The capture file of these packets, the camera listening on `cameraPort`. */
export function pcapOf(packets: readonly RecordedPacket[], cameraPort: number): Buffer {
  const segments: Buffer[] = [];
  const streams = new Map<number, Stream>();
  for (const packet of packets) {
    const stream = streams.get(packet.connection) ?? openStream(packet.connection);
    if (!streams.has(packet.connection)) {
      streams.set(packet.connection, stream);
      segments.push(segmentOf(stream, true, FLAGS.syn, cameraPort));
      segments.push(segmentOf(stream, false, FLAGS.syn | FLAGS.acknowledge, cameraPort));
      segments.push(segmentOf(stream, true, FLAGS.acknowledge, cameraPort));
    }
    const flags = FLAGS.push | FLAGS.acknowledge;
    segments.push(segmentOf(stream, packet.isFromHost, flags, cameraPort, packet.bytes));
  }
  for (const stream of streams.values()) {
    segments.push(segmentOf(stream, true, FLAGS.fin | FLAGS.acknowledge, cameraPort));
    segments.push(segmentOf(stream, false, FLAGS.fin | FLAGS.acknowledge, cameraPort));
  }
  const header = Buffer.alloc(24);
  header.writeUInt32LE(0xa1b2c3d4, 0);
  header.writeUInt16LE(2, 4);
  header.writeUInt16LE(4, 6);
  header.writeUInt32LE(0x40000, 16);
  header.writeUInt32LE(101, 20);
  return Buffer.concat([header, ...segments.flatMap((ip, index) => [recordHeader(ip, index), ip])]);
}

type Stream = { readonly hostPort: number; readonly next: { host: number; camera: number } };

function openStream(connection: number): Stream {
  return { hostPort: FIRST_HOST_PORT + connection, next: { host: 1000, camera: 2000 } };
}

/** A millisecond between packets: only their order means anything here. */
function recordHeader(ip: Buffer, index: number): Buffer {
  const header = Buffer.alloc(16);
  header.writeUInt32LE(Math.floor(index / 1000), 0);
  header.writeUInt32LE((index % 1000) * 1000, 4);
  header.writeUInt32LE(ip.length, 8);
  header.writeUInt32LE(ip.length, 12);
  return header;
}

function segmentOf(
  stream: Stream,
  isFromHost: boolean,
  flags: number,
  cameraPort: number,
  payload: Buffer = Buffer.alloc(0),
): Buffer {
  const [from, to] = isFromHost ? (["host", "camera"] as const) : (["camera", "host"] as const);
  const tcp = Buffer.alloc(20);
  tcp.writeUInt16BE(isFromHost ? stream.hostPort : cameraPort, 0);
  tcp.writeUInt16BE(isFromHost ? cameraPort : stream.hostPort, 2);
  tcp.writeUInt32BE(stream.next[from], 4);
  tcp.writeUInt32BE(flags & FLAGS.acknowledge ? stream.next[to] : 0, 8);
  tcp[12] = 5 << 4;
  tcp[13] = flags;
  tcp.writeUInt16BE(0xffff, 14);
  stream.next[from] += payload.length + (flags & (FLAGS.syn | FLAGS.fin) ? 1 : 0);
  const source = isFromHost ? HOST_ADDRESS : CAMERA_ADDRESS;
  const target = isFromHost ? CAMERA_ADDRESS : HOST_ADDRESS;
  const segment = Buffer.concat([tcp, payload]);
  const pseudo = Buffer.from([...source, ...target, 0, 6, 0, 0]);
  pseudo.writeUInt16BE(segment.length, 10);
  segment.writeUInt16BE(checksum(Buffer.concat([pseudo, segment])), 16);
  const ip = Buffer.alloc(20);
  ip[0] = 0x45;
  ip.writeUInt16BE(20 + segment.length, 2);
  ip[8] = 64;
  ip[9] = 6;
  ip.set([...source, ...target], 12);
  ip.writeUInt16BE(checksum(ip), 10);
  return Buffer.concat([ip, segment]);
}

/** The Internet checksum. Source: RFC 1071. */
function checksum(bytes: Buffer): number {
  let sum = 0;
  for (let at = 0; at < bytes.length; at += 2) sum += (bytes[at]! << 8) | (bytes[at + 1] ?? 0);
  while (sum > 0xffff) sum = (sum & 0xffff) + Math.floor(sum / 0x10000);
  return ~sum & 0xffff;
}
