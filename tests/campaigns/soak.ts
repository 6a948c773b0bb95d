import { mkdtempSync, readFileSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { medianOf } from "../../core/statistics.ts";
import { startProgram, type Program } from "../support/program.ts";
import type { Campaign } from "./campaign.ts";

/** What the running program holds at one moment. */
export type Sample = {
  readonly frameCount: number;
  /** Memory of the program's own process that is really there, bytes. */
  readonly residentBytes: number;
  /** Open files, sockets and pipes. */
  readonly descriptorCount: number;
};

/** Fewer frames say nothing about growth: the first thousand fill caches that have a bound. */
const FRAMES_MIN = 2000;
/** Growth that is allowed from the first to the last tenth of what is looked at. */
const GROWTH_MAX = 1.05;
/** The first fifth of a night fills caches. */
const LOOKED_AT_FROM = 0.2;
const SAMPLE_MS = 2000;
/** As fast as the processes keep up with; frames that are lost to the haste do not count. */
const RATE = 60;
/** A handful of frames has to come whole, on a machine that is busy with other tests, too. */
const GENTLE_RATE = 2;

/**
 * A demo night through the real processes, as fast as they can take frames: what the program holds
 * may not grow. Reads /proc, so it runs on Linux alone.
 */
export const SOAK: Campaign = {
  unit: "frame",
  countDefault: 10_000,
  unitsPerCase: Number.MAX_SAFE_INTEGER,
  async runCase(seed, frameCount) {
    const dataDir = mkdtempSync(join(tmpdir(), "nattvakt-soak-"));
    const program = startProgram("controller/main.ts", [
      ...[
        "--frames",
        String(frameCount),
        "--rate",
        String(frameCount < FRAMES_MIN ? GENTLE_RATE : RATE),
        "--seed",
        String(seed),
      ],
      ...["--port", "0", "--data", dataDir],
    ]);
    try {
      const samples = await samplesUntilEnd(program);
      const exitCode = await program.ended;
      const problems = exitCode === 0 ? growthOf(samples) : [`It ended with ${exitCode}.`];
      const lines = program.printed().split("\n");
      const warnings = lines.filter((line) => /Warning:/.test(line));
      if (warnings.length > 0) problems.push(`It printed "${warnings[0]}".`);
      return { problems, sums: { samples: samples.length, ...heldAtEnd(samples) } };
    } finally {
      program.child.kill("SIGKILL");
      rmSync(dataDir, { recursive: true, force: true });
    }
  },
};

async function samplesUntilEnd(program: Program): Promise<readonly Sample[]> {
  const samples: Sample[] = [];
  let hasEnded = false;
  void program.ended.then(() => (hasEnded = true));
  while (!hasEnded) {
    const sample = sampleOf(program);
    if (sample !== null) samples.push(sample);
    await Promise.race([program.ended, new Promise((resolve) => setTimeout(resolve, SAMPLE_MS))]);
  }
  return samples;
}

function sampleOf(program: Program): Sample | null {
  const folder = `/proc/${program.child.pid}`;
  try {
    const status = readFileSync(`${folder}/status`, "utf8");
    const kilobytes = Number(/^VmRSS:\s+(\d+) kB/m.exec(status)![1]);
    const numbers = [...program.printed().matchAll(/#(\d{4,})/g)];
    return {
      frameCount: numbers.length,
      residentBytes: kilobytes * 1024,
      descriptorCount: readdirSync(`${folder}/fd`).length,
    };
  } catch {
    // It has just ended, and its folder with it.
    return null;
  }
}

/** What grew between the first and the last tenth of the last four fifths, a sentence each. */
export function growthOf(samples: readonly Sample[]): string[] {
  const frames = samples.at(-1)?.frameCount ?? 0;
  if (frames < FRAMES_MIN) return [];
  const lookedAt = samples.filter(({ frameCount }) => frameCount >= frames * LOOKED_AT_FROM);
  const tenth = Math.max(1, Math.floor(lookedAt.length / 10));
  const held = (part: readonly Sample[], key: "residentBytes" | "descriptorCount"): number =>
    medianOf(part.map((sample) => sample[key]));
  const problems: string[] = [];
  for (const [key, what] of [
    ["residentBytes", "Memory"],
    ["descriptorCount", "The count of open files"],
  ] as const) {
    const growth = held(lookedAt.slice(-tenth), key) / held(lookedAt.slice(0, tenth), key);
    if (growth > GROWTH_MAX) {
      problems.push(`${what} grew by ${Math.round((growth - 1) * 100)} % over ${frames} frames.`);
    }
  }
  return problems;
}

function heldAtEnd(samples: readonly Sample[]): Record<string, number> {
  const last = samples.at(-1);
  if (last === undefined) return {};
  return {
    "MiB held at the end": Math.round(last.residentBytes / 2 ** 20),
    "files open at the end": last.descriptorCount,
  };
}
