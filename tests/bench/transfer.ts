import { once } from "node:events";
import { connect } from "node:net";
import { pathToFileURL } from "node:url";
import { IpTransport } from "../../controller/cameras/ip/ipTransport.ts";
import { PtpSession } from "../../controller/cameras/ptpSession.ts";
import { startWorker } from "../../controller/workers/startWorker.ts";
import type { BenchRow } from "./benchRow.ts";
import { tableOf } from "./table.ts";
import type { SenderData, SenderPorts } from "./transferSender.ts";

/** An object as large as a raw file, in packets of a size that cameras use. */
const OBJECT: SenderData = { objectBytes: 32 * 1024 * 1024, pieceBytes: 64 * 1024 };
const RUNS = 9;

/** Takes the object once. @returns its bytes. */
type Receive = () => Promise<Uint8Array>;

/**
 * A file over PTP/IP on loopback, whole as the session hands it on, beside the same bytes through a
 * bare TCP connection, sent by another thread in the same pieces. Turn by turn, the best of each, so
 * that a machine that is busy elsewhere slows both.
 */
export async function benchTransfer(): Promise<BenchRow[]> {
  const sender = startWorker(new URL("./transferSender.ts", import.meta.url), {
    workerData: OBJECT,
  });
  const [ports] = (await once(sender, "message")) as [SenderPorts];
  const ptp = await overPtpIp(ports.ptp);
  const bare = await overTcp(ports.bare);
  let value = 0;
  let comparedValue = 0;
  for (let run = 0; run < RUNS; run += 1) {
    value = Math.max(value, await mbPerSecond(ptp.receive));
    comparedValue = Math.max(comparedValue, await mbPerSecond(bare.receive));
  }
  await ptp.end();
  bare.end();
  await sender.terminate();
  return [
    {
      group: "transfer",
      name: "GetObject of 32 MiB over PTP/IP, loopback",
      unit: "MB/s",
      comparedWith: "the same bytes through a bare TCP connection",
      ...{ value, comparedValue, ratio: value / comparedValue },
    },
  ];
}

async function mbPerSecond(receive: Receive): Promise<number> {
  const startMs = performance.now();
  const { length } = await receive();
  if (length !== OBJECT.objectBytes) throw new Error("the object came incomplete");
  return length / 1e6 / ((performance.now() - startMs) / 1000);
}

async function overPtpIp(port: number) {
  const transport = new IpTransport({
    ...{ host: "127.0.0.1", port, initiatorGuid: new Uint8Array(16), probeAfterMs: "never" },
  });
  await transport.open(5_000);
  const session = new PtpSession(transport);
  await session.open();
  const receive: Receive = () => session.getObject(1);
  return { receive, end: () => transport.close() };
}

/** As anybody reads a stream of known length: what comes is kept, and put together at the end. */
async function overTcp(port: number) {
  const socket = connect({ host: "127.0.0.1", port, noDelay: true });
  await once(socket, "connect");
  const receive: Receive = () =>
    new Promise((resolve) => {
      const chunks: Buffer[] = [];
      let bytes = 0;
      const take = (chunk: Buffer): void => {
        chunks.push(chunk);
        bytes += chunk.length;
        if (bytes < OBJECT.objectBytes) return;
        socket.off("data", take);
        resolve(Buffer.concat(chunks));
      };
      socket.on("data", take);
      socket.write("?");
    });
  return { receive, end: () => socket.destroy() };
}

if (process.argv[1] !== undefined && import.meta.url === pathToFileURL(process.argv[1]).href) {
  process.stdout.write(tableOf(await benchTransfer()));
}
