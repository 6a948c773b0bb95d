import { mkdtempSync, readdirSync, rmSync } from "node:fs";
import { availableParallelism, loadavg, tmpdir } from "node:os";
import { join } from "node:path";
import { Catalogue } from "../../controller/archive/catalogue.ts";
import { DEFAULT_CAMERA_SETTINGS } from "../../controller/virtual-camera/cameraSettings.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { startProgram } from "../support/program.ts";
import type { BenchRow } from "./benchRow.ts";
import { valueAtShare } from "../../core/statistics.ts";

/** Enough for the demo's dusk, where frames are shortest and come fastest. */
const FRAMES = 200;
/** Frames at the start during which the program is still warming up. */
const WARM_UP = 40;
const FIRST_FRAME_SECONDS_MAX = 20;
const RUN_MS_MAX = 300_000;

/**
 * The demo as it starts by itself, ten times faster than life: from closing to the next opening,
 * beside what the camera itself needs to read a frame out; and how soon the first frame is there.
 */
export async function benchCadence(): Promise<BenchRow[]> {
  const dataDir = mkdtempSync(join(tmpdir(), "nattvakt-bench-"));
  try {
    const startMs = performance.now();
    const args = ["--port", "0", "--data", dataDir, "--frames", String(FRAMES), "--from-dusk"];
    const program = startProgram("controller/main.ts", args);
    await program.prints(/ISO \d/);
    const firstFrameSeconds = (performance.now() - startMs) / 1000;
    const timer = setTimeout(() => program.child.kill("SIGINT"), RUN_MS_MAX);
    await program.ended;
    clearTimeout(timer);
    return rowsOf(gapsSeconds(framesIn(dataDir).slice(WARM_UP)), firstFrameSeconds);
  } finally {
    rmSync(dataDir, { recursive: true, force: true });
  }
}

function framesIn(dataDir: string): readonly FrameRecord[] {
  const nights = join(dataDir, "demo", "nights");
  const catalogue = Catalogue.open(join(nights, readdirSync(nights)[0]!));
  try {
    return catalogue.frames({ fromIndex: 0, count: FRAMES });
  } finally {
    catalogue.close();
  }
}

/** From each closing to the next opening, night seconds. */
function gapsSeconds(frames: readonly FrameRecord[]): readonly number[] {
  return frames.flatMap(({ openedUtcMs }, index) => {
    const before = frames[index - 1];
    if (!before?.happened || before.openedUtcMs === null || openedUtcMs === null) return [];
    return [(openedUtcMs - before.openedUtcMs) / 1000 - before.happened.exposureSeconds];
  });
}

function rowsOf(gaps: readonly number[], firstFrameSeconds: number): BenchRow[] {
  const group = "cadence";
  const comparedValue = DEFAULT_CAMERA_SETTINGS.busySeconds;
  const load = `load ${loadavg()[0]?.toFixed(1)} on ${availableParallelism()} processors`;
  return [
    ...[0.5, 0.9].map((share): BenchRow => {
      const value = valueAtShare(gaps, share) ?? NaN;
      return {
        ...{ group, name: `demo at 10×, closing to the next opening, p${share * 100}`, value },
        ...{ unit: "night s", comparedWith: "the camera's own readout", comparedValue },
        ratio: value / comparedValue,
        note: `${gaps.length} frames, ${load}`,
      };
    }),
    {
      ...{ group, name: "start to the first frame", value: firstFrameSeconds, unit: "s" },
      ...{ comparedWith: "asked at most", comparedValue: FIRST_FRAME_SECONDS_MAX },
      ratio: firstFrameSeconds / FIRST_FRAME_SECONDS_MAX,
      note: load,
    },
  ];
}
