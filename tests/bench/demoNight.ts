import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { DEFAULT_EXPOSURE_SETTINGS as SETTINGS } from "../../core/exposure/settings.ts";
import { TONE_CURVES, type ToneCurveName } from "../../core/simulation/toneCurve.ts";
import { midGreyOffsetStops } from "../support/midGreyOffsetStops.ts";
import { scoreNight } from "../support/nightScore.ts";
import { simulateNight } from "../support/simulatedNight.ts";
import type { BenchRow } from "./benchRow.ts";

/** Stretches of the demo night, hours after its dusk. */
const PHASES = [
  { phase: "dusk", fromHours: 0.3, hours: 0.4 },
  { phase: "quiet", fromHours: 2.6, hours: 0.3 },
  { phase: "surge", fromHours: 4.12, hours: 0.28 },
  { phase: "clouds", fromHours: 5.9, hours: 0.3 },
  { phase: "Moon", fromHours: 8.5, hours: 0.3 },
  { phase: "dawn", fromHours: 10.5, hours: 0.4 },
] as const;

const CURVES = Object.keys(TONE_CURVES) as ToneCurveName[];
/** Fewer of them while something is tried out: phases and curves by name, with commas. */
const ONLY = process.env["NATTVAKT_DEMO_ONLY"]?.split(",") ?? [];

/**
 * The demo night with pictures, phase by phase and for each of the hidden tone curves: how near its
 * frames come to the target. Each phase begins with a camera whose curve nobody knows, and the
 * frames that teach it count like any other.
 */
export async function benchDemoNight(): Promise<BenchRow[]> {
  const rows: BenchRow[] = [];
  for (const toneCurve of CURVES) {
    if (ONLY.some((name) => name in TONE_CURVES) && !ONLY.includes(toneCurve)) continue;
    for (const stretch of PHASES) {
      if (ONLY.some(isPhase) && !ONLY.includes(stretch.phase)) continue;
      rows.push(await benchStretch(toneCurve, stretch));
    }
  }
  return rows;
}

function isPhase(name: string): boolean {
  return PHASES.some(({ phase }) => phase === name);
}

async function benchStretch(
  toneCurve: ToneCurveName,
  { phase, fromHours, hours }: (typeof PHASES)[number],
): Promise<BenchRow> {
  const dataDir = mkdtempSync(join(tmpdir(), "nattvakt-bench-"));
  try {
    const night = await simulateNight({
      ...{ dataDir, seed: "7", scenario: "demo", fromHours, hours, toneCurve },
      ...{ widthPx: 240, heightPx: 160 },
    });
    const score = scoreNight(night, SETTINGS, midGreyOffsetStops(TONE_CURVES[toneCurve]));
    return {
      group: "demo night",
      name: `${phase}, ${toneCurve} curve: RMS error by the truth`,
      value: score.rmsStops,
      unit: "stop",
      comparedWith: "the last frame's true light",
      comparedValue: score.persistenceRmsStops,
      ratio: score.rmsStops / score.persistenceRmsStops,
      note: [
        `${score.reachable} of ${score.frames} frames reachable`,
        `meter ${score.meterRmsStops.toFixed(3)} RMS, bias ${score.meterBiasStops.toFixed(3)}`,
        `${Math.round(100 * score.withinTwoSigmas)} % within two sigmas`,
        `${Math.round(100 * score.withinByTruth)} % within 0.35 stop`,
      ].join("; "),
    };
  } finally {
    rmSync(dataDir, { recursive: true, force: true });
  }
}
