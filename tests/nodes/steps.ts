import { readdirSync, statSync } from "node:fs";
import { join } from "node:path";
import {
  killGroup,
  lastLine,
  run,
  runNpm,
  startNpm,
  untilEnd,
  type OtherNode,
} from "./otherNode.ts";
import { runSuite, suiteSentence } from "../support/suite.ts";

/** A fresh clone of the project, and the Node that it is tried on. */
export type Trial = {
  readonly node: OtherNode;
  readonly clone: string;
  readonly dataDir: string;
  /** Folders whose tests are run; null: all tests, as `npm test` runs them. */
  readonly tests: readonly string[] | null;
};

/** What a step found: one sentence, and how many tests stand behind it. */
export type Outcome = { readonly sentence: string; readonly passed: number };
export type Step = { readonly name: string; readonly take: (trial: Trial) => Promise<Outcome> };

const FRAMES_BEFORE_KILL = 10;
const FRAMES_AFTER_KILL = 10;
const INSTALL_MS_MAX = 300_000;
const NIGHT_MS_MAX = 600_000;
const BINARIES_MS_MAX = 60_000;
const UNITS_MS_MAX = 900_000;
/** With a browser, films and a package of its own, on a machine that does other things, too. */
const SUITE_MS_MAX = 2 * 3_600_000;

/** In their order: each needs what the one before it has left. */
export const STEPS: readonly Step[] = [
  { name: "installs with every script blocked", take: install },
  { name: "has its binaries", take: askBinaries },
  { name: "takes ten frames of the demo and is killed", take: killNight },
  { name: "goes on with the night for ten more", take: resumeNight },
  { name: "delivers a small film", take: deliver },
  { name: "passes its tests", take: runTests },
];

async function install({ node, clone }: Trial): Promise<Outcome> {
  const { code, printed } = await runNpm(node, ["ci", "--ignore-scripts", "--no-progress"], {
    cwd: clone,
    limitMs: INSTALL_MS_MAX,
  });
  if (code !== 0) throw new Error(`npm ci ended with ${code}: ${lastLine(printed)}`);
  if (/EBADENGINE/.test(printed)) throw new Error(`a package refuses this Node: ${printed}`);
  return passed(lastLine(printed));
}

async function askBinaries({ node, clone }: Trial): Promise<Outcome> {
  const { code, printed } = await run(
    node.execPath,
    ["--import", "tsx", "tests/nodes/askBinaries.ts"],
    { cwd: clone, limitMs: BINARIES_MS_MAX },
  );
  if (code !== 0) throw new Error(`it ended with ${code}:\n${printed}`);
  requireClean(printed);
  return passed(lastLine(printed));
}

async function killNight(trial: Trial): Promise<Outcome> {
  const child = startNpm(trial.node, ["start", "--", ...nightArguments(trial)], trial.clone);
  const { printed } = await untilEnd(child, NIGHT_MS_MAX, (soFar) => {
    if (framesIn(soFar).size >= FRAMES_BEFORE_KILL) killGroup(child);
  });
  const count = framesIn(printed).size;
  if (count < FRAMES_BEFORE_KILL) throw new Error(`only ${count} frames came:\n${printed}`);
  requireClean(printed);
  return passed(`${count} frames, then SIGKILL`);
}

async function resumeNight(trial: Trial): Promise<Outcome> {
  const args = [...nightArguments(trial), "--frames", String(FRAMES_AFTER_KILL)];
  const { code, printed } = await runNpm(trial.node, ["start", "--", ...args], {
    cwd: trial.clone,
    limitMs: NIGHT_MS_MAX,
  });
  const frames = framesIn(printed);
  if (code !== 0) throw new Error(`it ended with ${code}:\n${printed}`);
  if (!/was cut off; the watch goes on/.test(printed)) {
    throw new Error(`it did not go on with the night:\n${printed}`);
  }
  if (frames.size < FRAMES_AFTER_KILL) throw new Error(`only ${frames.size} came:\n${printed}`);
  requireClean(printed);
  return passed(`frames ${Math.min(...frames)} to ${Math.max(...frames)}`);
}

async function deliver(trial: Trial): Promise<Outcome> {
  const kinds = ["--video", "h264", "--size", "480x320", "--sequence", "none", "--no-extras"];
  const { code, printed } = await runNpm(
    trial.node,
    ["run", "deliver", "--", "last", "--data", trial.dataDir, ...kinds],
    { cwd: trial.clone, limitMs: NIGHT_MS_MAX },
  );
  if (code !== 0) throw new Error(`npm run deliver ended with ${code}:\n${printed}`);
  requireClean(printed);
  const films = readdirSync(trial.dataDir, { recursive: true, encoding: "utf8" })
    .filter((path) => path.endsWith(".mp4"))
    .map((path) => statSync(join(trial.dataDir, path)).size);
  if (films.length === 0) throw new Error(`there is no film:\n${printed}`);
  return passed(`${films.length} films of ${Math.round(Math.min(...films) / 1000)} kB or more`);
}

function runTests(trial: Trial): Promise<Outcome> {
  return trial.tests === null ? wholeSuite(trial) : units(trial, trial.tests);
}

async function wholeSuite({ node, clone }: Trial): Promise<Outcome> {
  const { code, printed } = await runNpm(node, ["test"], { cwd: clone, limitMs: SUITE_MS_MAX });
  const sentence = lastLine(printed);
  const count = /^(\d+) passed/.exec(sentence);
  if (code !== 0 || !count)
    throw new Error(`npm test ended with ${code}:\n${printed.slice(-6000)}`);
  return { sentence, passed: Number(count[1]) };
}

async function units({ node, clone }: Trial, tests: readonly string[]): Promise<Outcome> {
  let printed = "";
  const vitest = async (words: readonly string[]): Promise<number> => {
    const ended = await run(node.execPath, ["node_modules/vitest/vitest.mjs", ...words], {
      cwd: clone,
      limitMs: UNITS_MS_MAX,
    });
    if (ended.code === null)
      throw new Error(`they took more than ${UNITS_MS_MAX / 60_000} minutes`);
    printed += ended.printed;
    return ended.code;
  };
  const outcome = await runSuite(vitest, { folder: clone, root: clone, words: tests });
  const sentence = suiteSentence(outcome);
  if (outcome.code !== 0) throw new Error(`${sentence}:\n${printed.slice(-6000)}`);
  return { sentence, passed: outcome.passed };
}

function nightArguments({ dataDir }: Trial): readonly string[] {
  return ["--port", "0", "--data", dataDir];
}

/** Numbers of the frames that the terminal has printed with a picture. */
function framesIn(printed: string): ReadonlySet<number> {
  return new Set([...printed.matchAll(/ #(\d{4,}) .* stop /g)].map(([, index]) => Number(index)));
}

/** A warning of Node's names a call that a later Node will refuse. */
function requireClean(printed: string): void {
  const warning = /^.*(?:\(node:\d+\)|DeprecationWarning|ExperimentalWarning).*$/m.exec(printed);
  if (warning) throw new Error(`the terminal shows a warning of Node's: ${warning[0]}`);
}

function passed(sentence: string): Outcome {
  return { sentence, passed: 1 };
}
