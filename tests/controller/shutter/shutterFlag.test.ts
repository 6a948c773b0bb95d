import { Worker } from "node:worker_threads";
import { describe, expect, it } from "vitest";
import { ShutterFlag } from "../../../controller/shutter/shutterFlag.ts";

describe("the flag that is set while the shutter may be open", () => {
  it("is seen alike by everybody who shares it, the largest transaction number included", () => {
    const buffer = ShutterFlag.createBuffer();
    const [one, other] = [new ShutterFlag(buffer), new ShutterFlag(buffer)];
    expect(one.isSet).toBe(false);
    one.set(0xfffffffe);
    expect(other.isSet).toBe(true);
    expect(other.openingTransactionId).toBe(0xfffffffe);
    other.clear();
    expect(one.isSet).toBe(false);
  });

  it("lets a held thread go on when another thread puts it out", async () => {
    const buffer = ShutterFlag.createBuffer();
    const flag = new ShutterFlag(buffer);
    flag.set(7);
    const script = `
      const { workerData } = require("node:worker_threads");
      const cells = new Int32Array(workerData);
      setTimeout(() => { Atomics.store(cells, 0, 0); Atomics.notify(cells, 0); }, 20);`;
    const worker = new Worker(script, { eval: true, workerData: buffer });
    const ended = new Promise((resolve) => worker.once("exit", resolve));
    expect(flag.waitUntilClear(30_000)).toBe(true);
    expect(flag.isSet).toBe(false);
    await ended;
  });

  it("does not hold a thread for ever: 10 ms of waiting for a flag that stays set", () => {
    const flag = new ShutterFlag(ShutterFlag.createBuffer());
    flag.set(7);
    expect(flag.waitUntilClear(10)).toBe(false);
    flag.clear();
    expect(flag.waitUntilClear(30_000)).toBe(true);
  });
});
