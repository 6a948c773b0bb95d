import { createServer, connect, type AddressInfo } from "node:net";
import { pathToFileURL } from "node:url";
import { PtpSession } from "../../controller/cameras/ptpSession.ts";
import { IP_KIND } from "../support/fakeIpCamera.ts";
import type { BenchRow } from "./benchRow.ts";
import { tableOf } from "./table.ts";

/** An object as large as a raw file. */
const OBJECT_BYTES = 32 * 1024 * 1024;
const PIECE_BYTES = 64 * 1024;
const RUNS = 5;

/**
 * A file over PTP/IP on loopback, whole as the session hands it on, beside the same bytes through a
 * bare TCP connection of this process; the best of five each.
 */
export async function benchTransfer(): Promise<BenchRow[]> {
  const bytes = Buffer.alloc(OBJECT_BYTES, 0x5a);
  const value = await best(() => overPtpIp(bytes));
  const comparedValue = await best(() => overTcp(bytes));
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

async function best(run: () => Promise<number>): Promise<number> {
  let fastest = 0;
  for (let index = 0; index < RUNS; index += 1) fastest = Math.max(fastest, await run());
  return fastest;
}

function rate(startMs: number): number {
  return OBJECT_BYTES / 1e6 / ((performance.now() - startMs) / 1000);
}

async function overPtpIp(bytes: Buffer): Promise<number> {
  const { transport, peer, stop } = await IP_KIND.join();
  const session = new PtpSession(transport);
  const opened = session.open();
  peer.respond((await peer.nextRequest()).transactionId, 0x2001);
  await opened;
  const startMs = performance.now();
  const got = session.getObject(1);
  const { transactionId } = await peer.nextRequest();
  peer.startData(transactionId, bytes.length);
  for (let at = 0; at < bytes.length - PIECE_BYTES; at += PIECE_BYTES) {
    peer.data(transactionId, bytes.subarray(at, at + PIECE_BYTES));
  }
  peer.endData(transactionId, bytes.subarray(bytes.length - PIECE_BYTES));
  peer.respond(transactionId, 0x2001);
  if ((await got).length !== bytes.length) throw new Error("the object came incomplete");
  const result = rate(startMs);
  await stop();
  return result;
}

async function overTcp(bytes: Buffer): Promise<number> {
  const server = createServer((socket) => {
    for (let at = 0; at < bytes.length; at += PIECE_BYTES) {
      socket.write(bytes.subarray(at, at + PIECE_BYTES));
    }
    socket.end();
  });
  await new Promise<void>((resolve) => server.listen(0, "127.0.0.1", resolve));
  const startMs = performance.now();
  const chunks: Buffer[] = [];
  const socket = connect((server.address() as AddressInfo).port, "127.0.0.1");
  for await (const chunk of socket) chunks.push(chunk as Buffer);
  // Whoever copies a file has it in one piece at the end.
  if (Buffer.concat(chunks).length !== bytes.length) throw new Error("the copy is incomplete");
  const result = rate(startMs);
  await new Promise((resolve) => server.close(resolve));
  return result;
}

if (process.argv[1] !== undefined && import.meta.url === pathToFileURL(process.argv[1]).href) {
  process.stdout.write(tableOf(await benchTransfer()));
}
