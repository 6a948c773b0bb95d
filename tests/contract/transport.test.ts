import { IP_KIND } from "../support/fakeIpCamera.ts";
import { usbKind } from "../support/usbKind.ts";
import { describeTransport } from "./transport.contract.ts";

const KINDS = [
  IP_KIND,
  usbKind("PTP over USB at high speed", {}),
  usbKind("PTP over USB at full speed, headers apart", { packetBytes: 64, splitsHeaders: true }),
  usbKind("PTP over USB at super speed, no empty packets", {
    packetBytes: 1024,
    eventPacketBytes: 8,
    skipsEmptyPackets: true,
  }),
];

for (const kind of KINDS) describeTransport(kind);
