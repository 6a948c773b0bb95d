import { afterEach, beforeEach, expect, it, vi } from "vitest";
import { DemoCamera } from "../../../controller/daemon/demoCamera.ts";
import { NightError } from "../../../core/errors.ts";

beforeEach(() => void vi.useFakeTimers());
afterEach(() => void vi.useRealTimers());

/** Cameras that die when asked; each start notes the port it was asked for. */
function workshop(failures: readonly Error[] = []) {
  const [ports, printed, alive]: [number[], string[], (() => void)[]] = [[], [], []];
  const outcomes = [...failures];
  const camera = new DemoCamera({
    print: (line) => printed.push(line),
    start: (port) => {
      ports.push(port);
      const failure = ports.length > 1 ? outcomes.shift() : undefined;
      if (failure) return Promise.reject(failure);
      const ended = new Promise<void>((resolve) => alive.push(resolve));
      const stop = () => Promise.resolve(alive.at(-1)?.());
      return Promise.resolve({ host: "127.0.0.1", port: 4711, ended, stop });
    },
  });
  return { camera, ports, printed, die: () => alive.at(-1)?.() };
}

it("a camera that dies is started again after 3 s, on the port where the watch looks for it", async () => {
  const { camera, ports, printed, die } = workshop();
  await camera.start();
  die();
  await vi.advanceTimersByTimeAsync(2900);
  expect(ports).toEqual([0]);
  await vi.advanceTimersByTimeAsync(200);
  expect(ports).toEqual([0, 4711]);
  expect(printed).toEqual(["The virtual camera has died. It is started again in 3 s."]);
});

it("one that does not come up is tried again, and says why", async () => {
  const failure = new NightError(
    "camera.unreachable",
    "The virtual camera did not start: no room.",
  );
  const { camera, ports, printed, die } = workshop([failure]);
  await camera.start();
  die();
  await vi.advanceTimersByTimeAsync(7000);
  expect(ports).toEqual([0, 4711, 4711]);
  expect(printed[1]).toMatch(/no room.*again in 3 s/);
});

it("one that is put away, or dies while the program ends, is not started again", async () => {
  const { camera, ports, printed, die } = workshop();
  await camera.start();
  die();
  await camera.close();
  await vi.advanceTimersByTimeAsync(10_000);
  expect([ports.length, printed.length]).toEqual([1, 0]);
});
