import { describe, expect, it } from "vitest";
import {
  BusyWait,
  patientPauses,
  promptPauses,
  whileBusy,
  type BusyPauses,
} from "../../../controller/timing/whileBusy.ts";
import { NightError, type ErrorCode } from "../../../core/errors.ts";

/** Attempts on a camera that is busy for so long, by a clock that only pauses move. */
async function ask(options: {
  readonly busyForMs: number;
  readonly pauses: BusyPauses;
  readonly busyMsMax: number;
  readonly code?: ErrorCode;
}): Promise<{ readonly pausesMs: readonly number[]; readonly code: string }> {
  let nowMs = 0;
  const pausesMs: number[] = [];
  const attempt = async (): Promise<string> => {
    if (nowMs >= options.busyForMs) return "done";
    throw new NightError(options.code ?? "camera.busy", "not now");
  };
  const wait = new BusyWait(options.pauses, options.busyMsMax, () => nowMs);
  const pause = async (pauseMs: number): Promise<void> => {
    pausesMs.push(pauseMs);
    nowMs += pauseMs;
  };
  try {
    return { pausesMs, code: await whileBusy(attempt, { wait, pause }) };
  } catch (thrown) {
    return { pausesMs, code: (thrown as NightError).code };
  }
}

describe("a camera that is busy", () => {
  it("is asked again after the profile's pause, then at a fiftieth of the time, while the shutter waits", async () => {
    const { pausesMs, code } = await ask({
      busyForMs: 20_000,
      pauses: promptPauses(5),
      busyMsMax: 30_000,
    });
    expect(code).toBe("done");
    expect(pausesMs[0]).toBe(5);
    expect(Math.max(...pausesMs)).toBe(100);
    const totalMs = pausesMs.reduce((sum, ms) => sum + ms, 0);
    expect(totalMs - 20_000).toBeLessThanOrEqual(100);
  });

  it("is asked less and less often, at most every second, while nothing waits", async () => {
    const { pausesMs } = await ask({
      busyForMs: 4_000,
      pauses: patientPauses(100),
      busyMsMax: 30_000,
    });
    expect(pausesMs).toEqual([100, 100, 200, 400, 800, 1_000, 1_000, 1_000]);
  });

  it("is never asked more often than its profile allows", async () => {
    const { pausesMs } = await ask({
      busyForMs: 2_000,
      pauses: promptPauses(400),
      busyMsMax: 30_000,
    });
    expect(pausesMs).toEqual([400, 400, 400, 400, 400]);
  });

  it("fails as busy once its time is up, and at once when it has none", async () => {
    const pauses = patientPauses(100);
    expect(await ask({ busyForMs: 9_000, pauses, busyMsMax: 1_000 })).toEqual({
      pausesMs: [100, 100, 200, 400],
      code: "camera.busy",
    });
    expect(await ask({ busyForMs: 9_000, pauses, busyMsMax: 0 })).toEqual({
      pausesMs: [],
      code: "camera.busy",
    });
  });

  it("is not asked again after any other refusal", async () => {
    const refused = { busyForMs: 9_000, pauses: promptPauses(5), busyMsMax: 1_000 };
    expect(await ask({ ...refused, code: "camera.gone" })).toEqual({
      pausesMs: [],
      code: "camera.gone",
    });
  });
});
