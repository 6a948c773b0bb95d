import { describe, expect, it } from "vitest";
import { realMs } from "../../../controller/timing/clock.ts";
import type { CameraTask, Need } from "../../../controller/shutter/cameraTask.ts";
import { CameraTaskQueue } from "../../../controller/shutter/cameraTaskQueue.ts";
import { NightError } from "../../../core/errors.ts";

const ALL_THE_TIME = { leftMs: Infinity, stepMs: 100 };

/** A task that asks for these needs one after the other and notes what it was granted. */
async function* taskOf(needs: readonly Partial<Need>[], granted: number[]): CameraTask {
  for (const need of needs) {
    const { budgetMs } = yield { atLeastMs: 0, notBeforeMs: 0, ...need };
    granted.push(budgetMs);
  }
}

const drop = (): void => undefined;

describe("the queue of tasks", () => {
  it("takes lower ranks first, and one transaction a step", async () => {
    const queue = new CameraTaskQueue();
    const order: string[] = [];
    async function* named(name: string): CameraTask {
      yield { atLeastMs: 0, notBeforeMs: 0 };
      order.push(name);
    }
    queue.add({ rank: 5, task: named("file"), drop });
    queue.add({ rank: 1, task: named("frame"), drop });
    while (await queue.step(ALL_THE_TIME));
    expect(order).toEqual(["frame", "file"]);
  });

  it("still tells when a task may go on whose time came after the look and before the question", async () => {
    const queue = new CameraTaskQueue();
    const dueMs = realMs() + 20;
    queue.add({ rank: 1, task: taskOf([{ notBeforeMs: dueMs }], []), drop });
    expect(await queue.step(ALL_THE_TIME)).toBe(true);
    expect(await queue.step(ALL_THE_TIME)).toBe(false);
    while (realMs() <= dueMs);
    expect(queue.nextMs).toBe(dueMs);
  });

  it("passes over a task that needs 30 ms when 20 are left, and takes the next", async () => {
    const queue = new CameraTaskQueue();
    const long: number[] = [];
    const short: number[] = [];
    queue.add({ rank: 1, task: taskOf([{ atLeastMs: 30 }], long), drop });
    queue.add({ rank: 2, task: taskOf([{ atLeastMs: 5 }], short), drop });
    while (await queue.step({ leftMs: 20, stepMs: 10 }));
    expect(long).toEqual([]);
    expect(short).toEqual([10]);
  });

  it("grants what a task needs at least, and the wanted step otherwise, never more than is left", async () => {
    const queue = new CameraTaskQueue();
    const granted: number[] = [];
    const needs = [{ atLeastMs: 50 }, { atLeastMs: 1 }];
    queue.add({ rank: 1, task: taskOf(needs, granted), drop });
    while (await queue.step({ leftMs: 60, stepMs: 4 }));
    expect(granted).toEqual([50, 4]);
  });

  it("says when a task that waits for its time may go on", async () => {
    const queue = new CameraTaskQueue();
    const laterMs = realMs() + 60_000;
    queue.add({ rank: 1, task: taskOf([{ notBeforeMs: laterMs }], []), drop });
    await queue.step(ALL_THE_TIME);
    expect(queue.nextMs).toBe(laterMs);
    expect(await queue.step(ALL_THE_TIME)).toBe(false);
  });

  it("cuts a transaction short that is overdue", async () => {
    const queue = new CameraTaskQueue();
    let isCut = false;
    async function* stuck(): CameraTask {
      const { signal } = yield { atLeastMs: 0, notBeforeMs: 0 };
      await new Promise<void>((resolve) => signal.addEventListener("abort", () => resolve()));
      isCut = true;
    }
    queue.add({ rank: 1, task: stuck(), drop });
    await queue.step({ leftMs: 1, stepMs: 1 });
    await queue.step({ leftMs: 1, stepMs: 1 });
    expect(isCut).toBe(true);
  });

  it("costs a failing task alone, and the link only when that is gone", async () => {
    const queue = new CameraTaskQueue();
    const dropped: string[] = [];
    const failing = async function* (error: NightError): CameraTask {
      yield { atLeastMs: 0, notBeforeMs: 0 };
      throw error;
    };
    const note = ({ code }: NightError): number => dropped.push(code);
    queue.add({ rank: 1, task: failing(new NightError("ptp.response", "no")), drop: note });
    while (await queue.step(ALL_THE_TIME));
    queue.add({ rank: 1, task: failing(new NightError("camera.gone", "gone")), drop: note });
    await queue.step(ALL_THE_TIME);
    await expect(queue.step(ALL_THE_TIME)).rejects.toMatchObject({ code: "camera.gone" });
    expect(dropped).toEqual(["ptp.response", "camera.gone"]);
  });

  it("crowds out the least urgent beyond 500", () => {
    const queue = new CameraTaskQueue();
    const dropped: number[] = [];
    for (let rank = 501; rank > 0; rank -= 1) {
      queue.add({ rank, task: taskOf([{}], []), drop: () => dropped.push(rank) });
    }
    expect(dropped).toEqual([501]);
  });
});
