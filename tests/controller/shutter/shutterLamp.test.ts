import { Worker } from "node:worker_threads";
import { describe, expect, it } from "vitest";
import { ShutterLamp } from "../../../controller/shutter/shutterLamp.ts";

describe("the lamp that burns while the shutter may be open", () => {
  it("is seen alike by everybody who shares it, the largest transaction number included", () => {
    const buffer = ShutterLamp.createBuffer();
    const [one, other] = [new ShutterLamp(buffer), new ShutterLamp(buffer)];
    expect(one.isLit).toBe(false);
    one.light(0xfffffffe);
    expect(other.isLit).toBe(true);
    expect(other.openingTransactionId).toBe(0xfffffffe);
    other.putOut();
    expect(one.isLit).toBe(false);
  });

  it("lets a held thread go on when another thread puts it out", async () => {
    const buffer = ShutterLamp.createBuffer();
    const lamp = new ShutterLamp(buffer);
    lamp.light(7);
    const script = `
      const { workerData } = require("node:worker_threads");
      const cells = new Int32Array(workerData);
      setTimeout(() => { Atomics.store(cells, 0, 0); Atomics.notify(cells, 0); }, 20);`;
    const worker = new Worker(script, { eval: true, workerData: buffer });
    const ended = new Promise((resolve) => worker.once("exit", resolve));
    expect(lamp.waitUntilOut(30_000)).toBe(true);
    expect(lamp.isLit).toBe(false);
    await ended;
  });

  it("does not hold a thread for ever: 10 ms of waiting for a lamp that stays lit", () => {
    const lamp = new ShutterLamp(ShutterLamp.createBuffer());
    lamp.light(7);
    expect(lamp.waitUntilOut(10)).toBe(false);
    lamp.putOut();
    expect(lamp.waitUntilOut(30_000)).toBe(true);
  });
});
