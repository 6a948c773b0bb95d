import { describe, expect, it } from "vitest";
import { benchCheck, type BenchCheckOptions } from "../../controller/bench-check/benchCheck.ts";
import type { BenchFigures } from "../../controller/bench-check/benchFigures.ts";
import { benchReport } from "../../controller/bench-check/benchReport.ts";
import { verdictOf } from "../../controller/bench-check/verdict.ts";
import { workingControls } from "../../controller/bench-check/workingControls.ts";
import { createTransport } from "../../controller/cameras/createTransport.ts";
import { startOrigin } from "../../controller/timing/clock.ts";
import { utcMs } from "../../core/units.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";
import { readBodies, traitsOf } from "./body.ts";
import { faultsOf } from "./faults.ts";
import { Responder } from "./responder.ts";

type Checked = { readonly figures: BenchFigures; readonly faults: readonly string[] };

async function check(
  name: string,
  options: Partial<BenchCheckOptions> = {},
): Promise<Checked & { readonly steps: readonly string[] }> {
  const body = readBodies().find((one) => one.name === name)!;
  const responder = await Responder.start(traitsOf(body));
  const steps: string[] = [];
  const data = temporaryFolder();
  try {
    const figures = await benchCheck({
      createTransport: () =>
        createTransport({ kind: "ip", host: "127.0.0.1", port: responder.port }),
      controlsFor: (info, usbIds) => workingControls(info, data, usbIds),
      origin: startOrigin({ rate: 1, startUtcMs: utcMs(Date.UTC(2027, 2, 24, 17)) }),
      scheduling: null,
      onStep: (sentence) => steps.push(sentence),
      ...options,
    });
    return { figures, steps, faults: faultsOf(responder.camera.diary) };
  } finally {
    await responder.stop();
  }
}

const LASTS = { timeout: 240_000 };

describe("a bench check of a body that nobody has met", () => {
  it.concurrent("presses both ways of a body that has both", LASTS, async () => {
    const { figures, faults } = await check("plain");
    expect(figures.bulb).toHaveLength(6);
    expect(figures.timed.map(({ hasFile }) => hasFile)).toEqual([true, true]);
    expect(verdictOf(figures).sentence).toMatch(/^Ready/);
    expect(faults).toEqual([]);
  });

  it.concurrent(
    "tries the timer where bulb is refused, and keeps what it found",
    LASTS,
    async () => {
      const { figures, faults } = await check("bulb-denied");
      expect(figures).toMatchObject({
        bulb: [],
        bulbRemark: expect.stringMatching(/^offered and/),
      });
      expect(figures.timed).toHaveLength(2);
      expect(verdictOf(figures)).toMatchObject({
        kind: "readyBut",
        sentence: expect.stringContaining("bulb does not serve") as string,
      });
      expect(benchReport(figures)).toMatch(/^verdict +Ready, but .*\nnext +[A-Z]/m);
      expect(faults).toEqual([]);
    },
  );

  it.concurrent("says that a device which takes no pictures needs a contact", LASTS, async () => {
    const { figures } = await check("no-capture");
    expect(figures).toMatchObject({ offersCapture: false, bulb: [], timed: [] });
    expect(verdictOf(figures)).toMatchObject({
      kind: "contactNeeded",
      sentence: expect.stringContaining("takes no pictures") as string,
      next: expect.stringContaining("--release") as string,
    });
    expect(benchReport(figures)).toMatch(/^events +nothing was exposed, so none was due$/m);
  });

  it.concurrent(
    "waits for a body that takes four seconds until it connects again",
    LASTS,
    async () => {
      const { figures, steps } = await check("sleepy");
      expect(steps).toContain("Waiting until the camera can be connected again.");
      expect(figures.bulb.length + figures.timed.length).toBeGreaterThan(0);
    },
  );

  it.concurrent("says that pictures do not come, and what to set", LASTS, async () => {
    const { figures } = await check("files-never", { fileMsMax: 300 });
    expect(verdictOf(figures)).toMatchObject({
      kind: "readyBut",
      sentence: expect.stringContaining("none of its pictures came") as string,
      next: expect.stringContaining("JPEG") as string,
    });
  });
});
