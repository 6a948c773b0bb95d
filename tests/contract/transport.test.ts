import { IP_KIND } from "../support/fakeIpCamera.ts";
import { describeTransport } from "./transport.contract.ts";

for (const kind of [IP_KIND]) describeTransport(kind);
