import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { DEFAULT_EXPOSURE_SETTINGS as SETTINGS } from "../../core/exposure/settings.ts";
import { scoreNight } from "../support/nightScore.ts";
import { simulateNight } from "../support/simulatedNight.ts";
import type { BenchRow } from "./benchRow.ts";

const HOURS = Number(process.env["NATTVAKT_DEMO_HOURS"] ?? 11.5);

/** The whole demo night with pictures, its tone curve hidden: how near its frames come to the target. */
export async function benchDemoNight(): Promise<BenchRow[]> {
  const dataDir = mkdtempSync(join(tmpdir(), "nattvakt-bench-"));
  try {
    const night = await simulateNight({
      ...{ dataDir, seed: "7", story: "demo", hours: HOURS, toneCurve: "contrasty" },
      ...{ widthPx: 240, heightPx: 160 },
    });
    const score = scoreNight(night, SETTINGS);
    const group = "demo night";
    const note = `${score.frames} frames after the first five, ${score.reachable} reachable`;
    return [
      {
        ...{ group, name: "frames within 0.35 stop, by the meter", note },
        ...{ value: 100 * score.withinByMeter, unit: "%" },
        ...{ comparedWith: "asked", comparedValue: 95, ratio: score.withinByMeter / 0.95 },
      },
      {
        ...{ group, name: "frames within 0.35 stop, by the truth", note },
        ...{ value: 100 * score.withinByTruth, unit: "%" },
        ...{ comparedWith: "asked", comparedValue: 95, ratio: score.withinByTruth / 0.95 },
      },
      {
        ...{ group, name: "RMS error, by the truth", note },
        ...{ value: score.rmsStops, unit: "stop", comparedWith: "the last frame's true light" },
        ...{ comparedValue: score.persistenceRmsStops },
        ratio: score.rmsStops / score.persistenceRmsStops,
      },
    ];
  } finally {
    rmSync(dataDir, { recursive: true, force: true });
  }
}
