// The other end of the transfer bench, in a thread of its own: sends the same bytes as PTP/IP packets
// and bare. Both are handed to the system in the same pieces and without a copy.
import { createServer, type AddressInfo, type Server, type Socket } from "node:net";
import { parentPort, workerData } from "node:worker_threads";
import { OPERATIONS } from "../../core/ptp/operations.ts";
import { transactionId } from "../../core/ptp/ids.ts";
import { encodeIpPacket, IP_PACKET_TYPES, IP_PROTOCOL_VERSION } from "../../core/ptp/ipPacket.ts";
import { createIpStream } from "../../core/ptp/ipStream.ts";
import { RESPONSES } from "../../core/ptp/responses.ts";

const { objectBytes, pieceBytes } = workerData as SenderData;
const object = Buffer.alloc(objectBytes, 0x5a);

export type SenderData = { readonly objectBytes: number; readonly pieceBytes: number };
export type SenderPorts = { readonly ptp: number; readonly bare: number };

function* pieces(): Generator<Buffer> {
  for (let at = 0; at < object.length; at += pieceBytes) {
    yield object.subarray(at, at + pieceBytes);
  }
}

function sendBare(socket: Socket): void {
  // One byte asks for the object.
  socket.on("data", () => {
    for (const piece of pieces()) socket.write(piece);
  });
}

function sendObject(socket: Socket, id: number): void {
  const totalBytes = BigInt(objectBytes);
  socket.write(encodeIpPacket({ kind: "startData", transactionId: transactionId(id), totalBytes }));
  let leftBytes = objectBytes;
  for (const piece of pieces()) {
    leftBytes -= piece.length;
    const header = Buffer.alloc(12);
    header.writeUInt32LE(12 + piece.length, 0);
    header.writeUInt32LE(leftBytes > 0 ? IP_PACKET_TYPES.data : IP_PACKET_TYPES.endData, 4);
    header.writeUInt32LE(id, 8);
    socket.cork();
    socket.write(header);
    socket.write(piece);
    socket.uncork();
  }
}

function answerAsCamera(socket: Socket): void {
  const stream = createIpStream();
  socket.on("data", (bytes) => {
    for (const packet of stream.push(bytes)) {
      if (packet.kind === "initCommandRequest") {
        const { guid } = packet;
        const rest = { friendlyName: "Bench", protocolVersion: IP_PROTOCOL_VERSION };
        socket.write(
          encodeIpPacket({ kind: "initCommandAck", connectionNumber: 1, guid, ...rest }),
        );
      } else if (packet.kind === "initEventRequest") {
        socket.write(encodeIpPacket({ kind: "initEventAck" }));
      } else if (packet.kind === "operationRequest") {
        const { transactionId: id } = packet;
        if (packet.code === OPERATIONS.GetObject.code) sendObject(socket, id);
        const response = { code: RESPONSES.OK, transactionId: id, parameters: [] };
        socket.write(encodeIpPacket({ kind: "operationResponse", ...response }));
      }
    }
  });
}

async function listen(accept: (socket: Socket) => void): Promise<number> {
  const server: Server = createServer({ noDelay: true }, accept);
  await new Promise<void>((resolve) => server.listen(0, "127.0.0.1", resolve));
  return (server.address() as AddressInfo).port;
}

parentPort!.postMessage({
  ptp: await listen(answerAsCamera),
  bare: await listen(sendBare),
} satisfies SenderPorts);
