import { writeFileSync } from "node:fs";
import { pathToFileURL } from "node:url";
import { runCommand } from "../../controller/commandLine.ts";
import { governExposure, observeFrame, startGovernor } from "../../core/exposure/governor.ts";
import { DEFAULT_EXPOSURE_SETTINGS } from "../../core/exposure/settings.ts";
import { rehearse, testFrameExposure } from "../../core/rehearsal/rehearsal.ts";
import { makeSky } from "../support/skySuite.ts";
import { monotonicMs } from "../../core/units.ts";
import {
  compareSuite,
  DEFAULT_CONDITIONS,
  geometricMean,
  ratioOf,
  scoreRule,
  SUITE,
  type Comparison,
} from "../skies/suite.ts";
import type { BenchRow } from "./benchRow.ts";

/** Seeds of the committed table, and seeds on which nothing was ever chosen. */
const TABLE_SEED = 1;
const HELD_OUT_SEED = 730_001;

/** The governor against its rivals over the suite, its light meter, and its speed. */
export function benchGovernor(): Promise<BenchRow[]> {
  const table = compareSuite(TABLE_SEED);
  const heldOut = compareSuite(HELD_OUT_SEED);
  return Promise.resolve([
    ...skyRows(table, ""),
    ...summaryRows(table, ""),
    ...summaryRows(heldOut, ", held-out seeds"),
    ...lightRows(),
    ...speedRows(),
  ]);
}

function skyRows(table: readonly Comparison[], suffix: string): BenchRow[] {
  return table.map((comparison) => ({
    group: "governor",
    name: `RMS error, ${comparison.row.name}${suffix}`,
    value: comparison.governor.rmsErrorStops,
    unit: "stops",
    comparedWith: "persistence",
    comparedValue: comparison.persistence.rmsErrorStops,
    ratio: ratioOf(comparison),
    note: `stepper ${fixed(comparison.stepper.rmsErrorStops)}, oracle ${fixed(comparison.oracle.rmsErrorStops)}`,
  }));
}

function summaryRows(table: readonly Comparison[], suffix: string): BenchRow[] {
  const ratios = table.map(ratioOf);
  const quiet = table.find(({ row }) => row.kind === "quiet")!;
  const against = { group: "governor", unit: "× persistence", comparedWith: "persistence" };
  const mean = geometricMean(ratios);
  const worst = Math.max(...ratios);
  return [
    {
      ...against,
      name: `geometric mean of the skies${suffix}`,
      value: mean,
      comparedValue: 1,
      ratio: mean,
    },
    { ...against, name: `worst sky${suffix}`, value: worst, comparedValue: 1, ratio: worst },
    {
      group: "governor",
      name: `exposure steps on the quiet sky${suffix}`,
      value: quiet.governor.rmsStepStops,
      unit: "stops",
      comparedWith: "persistence",
      comparedValue: quiet.persistence.rmsStepStops,
      ratio: quiet.governor.rmsStepStops / quiet.persistence.rmsStepStops,
    },
  ];
}

function lightRows(): BenchRow[] {
  return SUITE.filter(({ kind }) => kind === "storm" || kind === "step").map((row) => {
    const conditions = { ...DEFAULT_CONDITIONS, lightMeter: { hz: 10 } };
    const lit = scoreRule("governor", row, TABLE_SEED, conditions);
    const without = scoreRule("persistence", row, TABLE_SEED);
    return {
      group: "governor",
      name: `RMS error with a light meter at 10 Hz, ${row.name}`,
      value: lit.rmsErrorStops,
      unit: "stops",
      comparedWith: "persistence",
      comparedValue: without.rmsErrorStops,
      ratio: lit.rmsErrorStops / without.rmsErrorStops,
    };
  });
}

function speedRows(): BenchRow[] {
  return [rehearsalRow(null), rehearsalRow(10), decisionRow()];
}

/** Ten hours of storm, the fastest cadence that a night has. */
function rehearsalRow(hz: number | null): BenchRow {
  const sky = makeSky("storm", 5, 10);
  const { settings, timing } = DEFAULT_CONDITIONS;
  const first = testFrameExposure(sky, { settings, timing, seed: 1 });
  const options = { settings, timing, seed: 1, first, lightMeter: hz === null ? null : { hz } };
  const seconds = Math.min(...[0, 1, 2].map(() => timed(() => rehearse(sky, options))));
  const frames = rehearse(sky, options).length;
  return {
    group: "governor",
    name: `ten-hour rehearsal${hz === null ? "" : `, light meter at ${hz} Hz`}`,
    value: seconds,
    unit: "s",
    comparedWith: "allowed",
    comparedValue: 1,
    ratio: seconds,
    note: `${frames} frames, best of three`,
  };
}

function decisionRow(): BenchRow {
  const settings = DEFAULT_EXPOSURE_SETTINGS;
  const count = 2000;
  let state = startGovernor(null);
  const seconds = timed(() => {
    for (let index = 0; index < count; index += 1) {
      const openAtMs = monotonicMs(index * 16_000);
      const { exposure, state: ordered } = governExposure(
        state,
        { openAtMs, frameIndex: index },
        settings,
      );
      state = observeFrame(
        ordered,
        {
          frameIndex: index,
          openedMs: openAtMs,
          exposure,
          skyStops: -2 + 0.3 * Math.sin(index / 7),
          uncertaintyStops: 0.02,
          peakRatio: 3,
          clippedShare: 0,
          motion: { kind: "measured", degPerSecond: 0.1, pxPerSecond: 4 },
        },
        settings,
      );
    }
  });
  const milliseconds = (seconds * 1000) / count;
  return {
    group: "governor",
    name: "one decision, its reading included",
    value: milliseconds,
    unit: "ms",
    comparedWith: "allowed",
    comparedValue: 1,
    ratio: milliseconds,
  };
}

function timed(work: () => void): number {
  const began = performance.now();
  work();
  return (performance.now() - began) / 1000;
}

function fixed(value: number): string {
  return value.toFixed(3);
}

/** The table that is committed beside this file. */
export function tableText(): string {
  const parts = [
    "# The governor against its rivals",
    "",
    "Made by `node --import tsx tests/bench/governor.ts --write`; every sky comes from seeds " +
      "(tests/support/skySuite.ts), every frame from a rehearsal at its default cadence.",
    "RMS error in stops over the reachable frames; steps: RMS change of time × ISO from frame to frame.",
    "",
    ...tableLines("Seeds of the table", compareSuite(TABLE_SEED)),
    ...tableLines("Held-out seeds: nothing was chosen on them", compareSuite(HELD_OUT_SEED)),
    "## With a sky light meter at 10 Hz",
    "",
    "| sky | governor with light meter | persistence |",
    "| --- | ---: | ---: |",
    ...lightRows().map(
      ({ name, value, comparedValue }) =>
        `| ${name.replace(/^.*Hz, /, "")} | ${fixed(value)} | ${fixed(comparedValue)} |`,
    ),
    "",
  ];
  return parts.join("\n");
}

function tableLines(title: string, table: readonly Comparison[]): string[] {
  const ratios = table.map(ratioOf);
  return [
    `## ${title}`,
    "",
    "| sky | frames | governor | persistence | third-stop stepper | oracle | governor / persistence | governor's steps |",
    "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
    ...table.map(
      (comparison) =>
        `| ${comparison.row.name} | ${comparison.governor.reachableFrames} | ` +
        `${fixed(comparison.governor.rmsErrorStops)} | ${fixed(comparison.persistence.rmsErrorStops)} | ` +
        `${fixed(comparison.stepper.rmsErrorStops)} | ${fixed(comparison.oracle.rmsErrorStops)} | ` +
        `${fixed(ratioOf(comparison))} | ${comparison.governor.rmsStepStops.toFixed(4)} |`,
    ),
    "",
    `Geometric mean of the ratios ${fixed(geometricMean(ratios))}, worst ${fixed(Math.max(...ratios))}; ` +
      `clipped frames: governor ${clipped(table, "governor")}, persistence ${clipped(table, "persistence")}.`,
    "",
  ];
}

function clipped(table: readonly Comparison[], rule: "governor" | "persistence"): number {
  return table.reduce((sum, comparison) => sum + comparison[rule].clippedFrames, 0);
}

const COMMAND = {
  call: "node --import tsx tests/bench/governor.ts",
  purpose: "Compares the governor with its rivals over the suite of skies.",
  options: {
    write: { type: "flag", help: "writes the table to tests/bench/governor-table.md as well" },
  },
} as const;

if (process.argv[1] !== undefined && import.meta.url === pathToFileURL(process.argv[1]).href) {
  await runCommand(COMMAND, ({ write }) => {
    const text = tableText();
    process.stdout.write(text);
    if (write) writeFileSync(new URL("./governor-table.md", import.meta.url), text);
  });
}
