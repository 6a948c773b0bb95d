import { createTransport } from "../../controller/cameras/createTransport.ts";
import { PtpSession } from "../../controller/cameras/ptpSession.ts";
import { ProtocolTape, taped } from "../../controller/cameras/trace/protocolTape.ts";
import { exposureTime } from "../../core/ptp/properties.ts";
import { medianOf } from "../../core/statistics.ts";
import { startTestCamera } from "../support/testCamera.ts";
import type { BenchRow } from "./benchRow.ts";

const ROUNDS = 40;
const TRANSACTIONS = 100;

/**
 * What noting the protocol costs the thread that moves the shutter: the same question over PTP/IP on
 * loopback, with the tape that always runs and without, by turns.
 */
export async function benchTapedLink(): Promise<BenchRow[]> {
  const [taping, bare] = [await link({ isTaped: true }), await link({ isTaped: false })];
  const ms = { taped: [] as number[], bare: [] as number[] };
  for (let round = 0; round < ROUNDS; round += 1) {
    ms.taped.push(await msEach(taping.session));
    ms.bare.push(await msEach(bare.session));
  }
  for (const { end } of [taping, bare]) await end();
  const [value, comparedValue] = [medianOf(ms.taped), medianOf(ms.bare)];
  return [
    {
      group: "tapedLink",
      name: "transaction over PTP/IP, loopback, with the last of the protocol noted",
      unit: "ms",
      comparedWith: "the same without noting it",
      ...{ value, comparedValue, ratio: value / comparedValue },
      note: `median of ${ROUNDS} rounds of ${TRANSACTIONS} by turns`,
    },
  ];
}

async function link({ isTaped }: { readonly isTaped: boolean }) {
  const camera = await startTestCamera({ rate: 1 });
  const plain = createTransport({ kind: "ip", host: "127.0.0.1", port: camera.port });
  const transport = isTaped ? taped(plain, new ProtocolTape()) : plain;
  await transport.open(5000);
  const session = new PtpSession(transport);
  await session.open();
  const end = async (): Promise<void> => {
    await session.close();
    await transport.close();
    await camera.close();
  };
  return { session, end };
}

/** The longest dataset that is asked for between two frames. */
async function msEach(session: PtpSession): Promise<number> {
  const startMs = performance.now();
  for (let count = 0; count < TRANSACTIONS; count += 1) {
    await session.describeProperty(exposureTime.code);
  }
  return (performance.now() - startMs) / TRANSACTIONS;
}
