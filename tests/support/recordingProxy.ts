// A relay between host and camera that keeps every PTP/IP packet in the order in which it passed.
// It cuts the streams by the published framing alone: a 32-bit length, then a 32-bit type.
import { connect, createServer, type AddressInfo, type Socket } from "node:net";

export type RecordedPacket = {
  /** Connections count from 0 in the order in which they were opened. */
  readonly connection: number;
  readonly isFromHost: boolean;
  readonly bytes: Buffer;
};

export type RecordingProxy = {
  readonly port: number;
  readonly packets: readonly RecordedPacket[];
  readonly connectionCount: () => number;
  close(): Promise<void>;
};

export function startRecordingProxy(cameraPort: number): Promise<RecordingProxy> {
  const packets: RecordedPacket[] = [];
  const sockets: Socket[] = [];
  let connectionCount = 0;
  const server = createServer((host) => {
    const connection = connectionCount;
    connectionCount += 1;
    const camera = connect(cameraPort, "127.0.0.1");
    for (const socket of [host, camera]) {
      socket.setNoDelay(true);
      socket.on("error", () => {});
      sockets.push(socket);
    }
    relay(host, camera, (bytes) => packets.push({ connection, isFromHost: true, bytes }));
    relay(camera, host, (bytes) => packets.push({ connection, isFromHost: false, bytes }));
  });
  return new Promise((resolve) => {
    server.listen(0, "127.0.0.1", () =>
      resolve({
        port: (server.address() as AddressInfo).port,
        packets,
        connectionCount: () => connectionCount,
        close: async () => {
          for (const socket of sockets) socket.destroy();
          await new Promise((done) => server.close(done));
        },
      }),
    );
  });
}

function relay(from: Socket, to: Socket, record: (bytes: Buffer) => void): void {
  let pending = Buffer.alloc(0);
  from.on("data", (chunk: Buffer) => {
    pending = Buffer.concat([pending, chunk]);
    while (pending.length >= 8 && pending.length >= pending.readUInt32LE(0)) {
      const length = pending.readUInt32LE(0);
      record(Buffer.from(pending.subarray(0, length)));
      pending = pending.subarray(length);
    }
    to.write(chunk);
  });
  from.on("close", () => to.destroy());
}
