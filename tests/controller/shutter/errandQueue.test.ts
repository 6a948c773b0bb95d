import { describe, expect, it } from "vitest";
import { realMs } from "../../../controller/timing/clock.ts";
import type { Errand, Need } from "../../../controller/shutter/errand.ts";
import { ErrandQueue } from "../../../controller/shutter/errandQueue.ts";
import { NightError } from "../../../core/errors.ts";

const ALL_THE_TIME = { leftMs: Infinity, stepMs: 100 };

/** An errand that asks for these needs one after the other and notes what it was granted. */
async function* errandOf(needs: readonly Partial<Need>[], granted: number[]): Errand {
  for (const need of needs) {
    const { budgetMs } = yield { atLeastMs: 0, notBeforeMs: 0, ...need };
    granted.push(budgetMs);
  }
}

const drop = (): void => undefined;

describe("the queue of errands", () => {
  it("takes lower ranks first, and one transaction a step", async () => {
    const queue = new ErrandQueue();
    const order: string[] = [];
    async function* named(name: string): Errand {
      yield { atLeastMs: 0, notBeforeMs: 0 };
      order.push(name);
    }
    queue.add({ rank: 5, errand: named("file"), drop });
    queue.add({ rank: 1, errand: named("frame"), drop });
    while (await queue.step(ALL_THE_TIME));
    expect(order).toEqual(["frame", "file"]);
  });

  it("still tells when an errand may go on whose time came after the look and before the question", async () => {
    const queue = new ErrandQueue();
    const dueMs = realMs() + 20;
    queue.add({ rank: 1, errand: errandOf([{ notBeforeMs: dueMs }], []), drop });
    expect(await queue.step(ALL_THE_TIME)).toBe(true);
    expect(await queue.step(ALL_THE_TIME)).toBe(false);
    while (realMs() <= dueMs);
    expect(queue.nextMs).toBe(dueMs);
  });

  it("passes over an errand that needs 30 ms when 20 are left, and takes the next", async () => {
    const queue = new ErrandQueue();
    const long: number[] = [];
    const short: number[] = [];
    queue.add({ rank: 1, errand: errandOf([{ atLeastMs: 30 }], long), drop });
    queue.add({ rank: 2, errand: errandOf([{ atLeastMs: 5 }], short), drop });
    while (await queue.step({ leftMs: 20, stepMs: 10 }));
    expect(long).toEqual([]);
    expect(short).toEqual([10]);
  });

  it("grants what an errand needs at least, and the wanted step otherwise, never more than is left", async () => {
    const queue = new ErrandQueue();
    const granted: number[] = [];
    const needs = [{ atLeastMs: 50 }, { atLeastMs: 1 }];
    queue.add({ rank: 1, errand: errandOf(needs, granted), drop });
    while (await queue.step({ leftMs: 60, stepMs: 4 }));
    expect(granted).toEqual([50, 4]);
  });

  it("says when an errand that waits for its time may go on", async () => {
    const queue = new ErrandQueue();
    const laterMs = realMs() + 60_000;
    queue.add({ rank: 1, errand: errandOf([{ notBeforeMs: laterMs }], []), drop });
    await queue.step(ALL_THE_TIME);
    expect(queue.nextMs).toBe(laterMs);
    expect(await queue.step(ALL_THE_TIME)).toBe(false);
  });

  it("cuts a transaction short that is overdue", async () => {
    const queue = new ErrandQueue();
    let isCut = false;
    async function* stuck(): Errand {
      const { signal } = yield { atLeastMs: 0, notBeforeMs: 0 };
      await new Promise<void>((resolve) => signal.addEventListener("abort", () => resolve()));
      isCut = true;
    }
    queue.add({ rank: 1, errand: stuck(), drop });
    await queue.step({ leftMs: 1, stepMs: 1 });
    await queue.step({ leftMs: 1, stepMs: 1 });
    expect(isCut).toBe(true);
  });

  it("costs a failing errand alone, and the link only when that is gone", async () => {
    const queue = new ErrandQueue();
    const dropped: string[] = [];
    const failing = async function* (error: NightError): Errand {
      yield { atLeastMs: 0, notBeforeMs: 0 };
      throw error;
    };
    const note = ({ code }: NightError): number => dropped.push(code);
    queue.add({ rank: 1, errand: failing(new NightError("ptp.response", "no")), drop: note });
    while (await queue.step(ALL_THE_TIME));
    queue.add({ rank: 1, errand: failing(new NightError("camera.gone", "gone")), drop: note });
    await queue.step(ALL_THE_TIME);
    await expect(queue.step(ALL_THE_TIME)).rejects.toMatchObject({ code: "camera.gone" });
    expect(dropped).toEqual(["ptp.response", "camera.gone"]);
  });

  it("crowds out the least urgent beyond 500", () => {
    const queue = new ErrandQueue();
    const dropped: number[] = [];
    for (let rank = 501; rank > 0; rank -= 1) {
      queue.add({ rank, errand: errandOf([{}], []), drop: () => dropped.push(rank) });
    }
    expect(dropped).toEqual([501]);
  });
});
