import { describe, expect, it } from "vitest";
import { realMs } from "../../../controller/timing/clock.ts";
import { preciseWait } from "../../../controller/timing/preciseWait.ts";
import { plainTimerWait } from "../../support/plainTimerWait.ts";

describe("waiting for a moment", () => {
  it("never returns before it, over twenty moments from 0.1 to 6 ms away", () => {
    const wait = preciseWait();
    for (let step = 0; step < 20; step += 1) {
      const momentMs = realMs() + 0.1 + step * 0.3;
      wait.blockUntil(momentMs);
      expect(realMs()).toBeGreaterThanOrEqual(momentMs);
    }
  });

  it("returns at once when the moment is over", () => {
    const wait = preciseWait();
    let count = 0;
    for (; count < 1_000; count += 1) wait.blockUntil(realMs() - 5);
    expect(count).toBe(1_000);
  });

  it("takes over from the event loop's timers a few milliseconds before, and plain timers never", () => {
    expect(preciseWait().handOverMs).toBeGreaterThan(1);
    expect(plainTimerWait().handOverMs).toBe(0);
  });
});
