import { execFileSync } from "node:child_process";
import { existsSync, mkdtempSync, rmSync, symlinkSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";
import { runCommand } from "../../controller/commandLine.ts";
import type * as rehearsal from "../../core/rehearsal/rehearsal.ts";
import { medianOf } from "../../core/statistics.ts";
import { DEFAULT_CONDITIONS } from "../skies/suite.ts";
import { makeSky } from "../support/skySuite.ts";
import type { BenchRow } from "./benchRow.ts";
import { tableOf } from "./table.ts";

const ROOT = fileURLToPath(new URL("../../", import.meta.url));
/** Where the rehearsal stands, and where it stood in older commits. */
const PLACES = ["core/rehearsal/rehearsal.ts", "core/simulation/rehearsal.ts"];
const ROUNDS = 20;
/** Frames alone, and with a light meter, whose samples the watch takes ten times a second. */
const RATES_HZ = [null, 10] as const;

/**
 * Watch and governor of this tree beside those of an older commit: the same rehearsal of ten hours of
 * storm, by turns, so that a busy machine slows both. Run by hand after a change of the watch's state
 * or of the governor: a clone without history has no older commit.
 */
async function speedSince(revision: string): Promise<BenchRow[]> {
  const folder = mkdtempSync(join(tmpdir(), "nattvakt-bench-"));
  try {
    const packed = execFileSync("git", ["archive", revision, "core", "package.json"], {
      cwd: ROOT,
      maxBuffer: 2 ** 28,
    });
    execFileSync("tar", ["-x", "-C", folder], { input: packed });
    symlinkSync(join(ROOT, "node_modules"), join(folder, "node_modules"));
    const [now, before] = [await rehearsalIn(ROOT), await rehearsalIn(folder)];
    return RATES_HZ.map((hz) => rowOf(hz, { now, before, revision }));
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

type Rehearsal = Pick<typeof rehearsal, "rehearse" | "testFrameExposure">;

async function rehearsalIn(folder: string): Promise<Rehearsal> {
  const file = PLACES.map((place) => join(folder, place)).find((place) => existsSync(place));
  return (await import(pathToFileURL(file!).href)) as Rehearsal;
}

function rowOf(
  hz: number | null,
  { now, before, revision }: { now: Rehearsal; before: Rehearsal; revision: string },
): BenchRow {
  const seconds = { now: [] as number[], before: [] as number[] };
  let frames = 0;
  for (let round = 0; round < ROUNDS; round += 1) {
    frames = timeRehearsal(now, hz, seconds.now);
    timeRehearsal(before, hz, seconds.before);
  }
  const [value, comparedValue] = [medianOf(seconds.now), medianOf(seconds.before)];
  return {
    ...{ group: "speedSince", unit: "s", value, comparedValue, ratio: value / comparedValue },
    name: `ten-hour rehearsal${hz === null ? "" : `, light meter at ${hz} Hz`}`,
    comparedWith: `commit ${revision}`,
    note: `median of ${ROUNDS} by turns, ${frames} frames`,
  };
}

/** @returns how many frames it took. */
function timeRehearsal(of: Rehearsal, hz: number | null, seconds: number[]): number {
  const sky = makeSky("storm", 5, 10);
  const { settings, timing } = DEFAULT_CONDITIONS;
  const first = of.testFrameExposure(sky, { settings, timing, seed: 1 });
  const lightMeter = hz === null ? null : { hz };
  const startMs = performance.now();
  const frames = of.rehearse(sky, { settings, timing, seed: 1, first, lightMeter }).length;
  seconds.push((performance.now() - startMs) / 1000);
  return frames;
}

const COMMAND = {
  call: "npx tsx tests/bench/speedSince.ts",
  purpose: "Times watch and governor beside those of an older commit.",
  options: {
    since: { type: "text", value: "REVISION", help: "the older commit; HEAD if none is named" },
  },
} as const;

await runCommand(COMMAND, async ({ since }) => {
  process.stdout.write(tableOf(await speedSince(since ?? "HEAD")));
});
