import type { DeviceInfo } from "../../core/ptp/datasets/deviceInfo.ts";
import { PtpSession } from "./ptpSession.ts";
import type { Transport } from "./transport.ts";

/** Real milliseconds that a camera may take to be connected. */
const OPEN_MS = 8_000;
const BUSY_MS = 5_000;

/** Connects once, asks a camera what it is, and disconnects again. @throws NightError as `Transport.open`. */
export async function introduce(
  transport: Transport,
): Promise<{ readonly info: DeviceInfo; readonly usbIds: Transport["usbIds"] }> {
  const session = new PtpSession(transport);
  await transport.open(OPEN_MS);
  try {
    await session.open();
    const info = await session.getDeviceInfo({ busyMsMax: BUSY_MS });
    return { info, usbIds: transport.usbIds };
  } finally {
    await session.close();
    await transport.close();
  }
}
