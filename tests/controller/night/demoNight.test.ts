import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { DEFAULT_EXPOSURE_SETTINGS as SETTINGS } from "../../../core/exposure/settings.ts";
import type { ToneCurveName } from "../../../core/simulation/render.ts";
import { scoreNight } from "../../support/nightScore.ts";
import { simulateNight } from "../../support/simulatedNight.ts";

/**
 * Stretches of the demo night with pictures; the whole of it is in the bench. The first begins
 * with a camera whose tone curve nobody knows, and its probes count as frames like any other.
 */
describe("the demo night with pictures", () => {
  let dataDir: string;
  beforeAll(() => {
    dataDir = mkdtempSync(join(tmpdir(), "nattvakt-demo-"));
  });
  afterAll(() => rmSync(dataDir, { recursive: true, force: true }));

  const stretch = (
    fromHours: number,
    hours: number,
    camera: {
      readonly toneCurve: ToneCurveName;
      readonly probeCountMax: number;
      readonly widthPx: number;
    },
  ) =>
    simulateNight({
      ...camera,
      ...{ dataDir, seed: "7", scenario: "demo", fromHours, hours },
      heightPx: (camera.widthPx * 2) / 3,
    });

  it("falls with the dusk: nine frames in ten within 0.35 stop, the probes among them", async () => {
    const score = scoreNight(
      await stretch(0.9, 0.4, { toneCurve: "contrasty", probeCountMax: 40, widthPx: 120 }),
      SETTINGS,
    );
    expect(score.reachable).toBeGreaterThan(80);
    expect(score.withinByMeter).toBeGreaterThan(0.9);
    expect(score.withinByTruth).toBeGreaterThan(0.9);
  });

  it("goes through a breakup: a surge is reported, and three frames in four are within 0.35 stop all the same", async () => {
    // Large enough that the curtains' motion is seen, and shortens the exposures.
    const night = await stretch(4.12, 0.2, { toneCurve: "mild", probeCountMax: 0, widthPx: 240 });
    const score = scoreNight(night, SETTINGS);
    expect(night.state.known.sky.surges.length).toBeGreaterThanOrEqual(1);
    expect(score.frames).toBeGreaterThan(120);
    expect(score.withinByTruth).toBeGreaterThan(0.75);
    expect(score.rmsStops).toBeLessThan(0.5);
  });
});
