import { afterAll, beforeAll } from "vitest";
import { describeTransport } from "../contract/transport.contract.ts";
import { Bus, kernelKind } from "./bus.ts";

let bus: Bus;
beforeAll(async () => {
  bus = await Bus.start();
});
afterAll(async () => await bus.stop());

describeTransport(kernelKind("PTP over this kernel's USB", () => bus, {}));
