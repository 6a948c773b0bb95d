import { describe, expect, it } from "vitest";
import { Wake } from "../../../controller/shutter/wake.ts";

describe("a pause that can be ended", () => {
  it("ends when it is rung", async () => {
    const wake = new Wake();
    const paused = wake.pause(Infinity);
    wake.ring();
    await paused;
  });

  it("does not begin when it was rung before, and begins again after that", async () => {
    const wake = new Wake();
    wake.ring();
    await wake.pause(Infinity);
    let hasEnded = false;
    const second = wake.pause(Infinity).then(() => (hasEnded = true));
    await new Promise((resolve) => setImmediate(resolve));
    expect(hasEnded).toBe(false);
    wake.ring();
    await second;
  });

  it("ends by itself when its time is over, or was over already", async () => {
    const wake = new Wake();
    await wake.pause(1);
    await wake.pause(-5);
  });
});
