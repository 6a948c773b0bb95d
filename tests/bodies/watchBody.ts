import { spawn } from "node:child_process";
import { mkdtempSync, readdirSync, rmSync, existsSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { parseCommandLine } from "../../controller/commandLine.ts";
import { START_COMMAND } from "../../controller/config.ts";
import { startDaemon } from "../../controller/daemon/daemon.ts";
import type { DaemonView } from "../../core/api/messages.ts";
import { asNightError } from "../../core/errors.ts";
import { traitsOf, type Body } from "./body.ts";
import { faultsOf } from "./faults.ts";
import { Responder } from "./responder.ts";

const ROOT = fileURLToPath(new URL("../../", import.meta.url));
const WATCH_FRAMES = 6;
const WATCH_ARGUMENTS = [
  ...["--frames", String(WATCH_FRAMES)],
  ...["--port", "0"],
  ...["--max-exposure-seconds", "1"],
] as const;
const DEADLINE_MS = 60_000;
/** A line of the watch: time, number, exposure. */
const FRAME_LINE = /^\d\d:\d\d:\d\d #\d{4} /;

/** What a person saw, and what the body saw. */
export type Seen = {
  /** Null: it had to be killed at the deadline. */
  readonly exitCode: number | null;
  readonly lines: readonly string[];
  readonly framesReported: number;
  /** Frames whose line tells a brightness. */
  readonly framesMetered: number;
  readonly filesKept: number;
  readonly exposures: readonly string[];
  readonly faults: readonly string[];
};

/** How a program is run: its arguments in, what it printed and how it ended out. */
export type Runner = (args: readonly string[]) => Promise<Ended>;
type Ended = { readonly exitCode: number | null; readonly text: string };

/**
 * A watch of six frames, in this process: what the person reads and what the body sees are those
 * of the real program, without the seconds that starting it takes.
 */
export function watchBody(body: Body, runner: Runner = watchHere): Promise<Seen> {
  return see(body, [...WATCH_ARGUMENTS], runner);
}

/** The same by the real program, started as a person starts it. */
export function watchBodyByProgram(body: Body): Promise<Seen> {
  return watchBody(body, (args) => start("controller/main.ts", args));
}

/** A bench check of the body by the real program. */
export function benchCheckBody(body: Body): Promise<Seen> {
  return see(body, [], (args) => start("controller/commands/benchCheck.ts", args));
}

async function watchHere(args: readonly string[]): Promise<Ended> {
  const command = parseCommandLine(START_COMMAND, args);
  if (command.kind !== "run") throw new Error("no watch was asked for");
  const lines: string[] = [];
  let killer: NodeJS.Timeout | undefined;
  try {
    const daemon = await startDaemon(command.options, (line) => lines.push(line), {
      pageState: () => "building",
    });
    const deadline = new Promise<"late">((resolve) => {
      killer = setTimeout(() => resolve("late"), DEADLINE_MS);
    });
    const ended = await Promise.race([daemon.finished, deadline]);
    lines.push(...(await notesOnPage(daemon.address)));
    await daemon.stop();
    return { exitCode: ended === "late" ? null : 0, text: lines.join("\n") };
  } catch (thrown) {
    lines.push(`error: ${asNightError(thrown).message}`);
    return { exitCode: 1, text: lines.join("\n") };
  } finally {
    clearTimeout(killer);
  }
}

/** What the page says of the camera beside the frames. */
async function notesOnPage(address: string): Promise<readonly string[]> {
  const answer = await fetch(new URL("/api/state", address));
  const { watches } = (await answer.json()) as DaemonView;
  return watches.flatMap(({ guards }) => guards.map(({ sentence }) => `On the page: ${sentence}`));
}

async function see(body: Body, args: readonly string[], runner: Runner): Promise<Seen> {
  const responder = await Responder.start(traitsOf(body));
  const data = mkdtempSync(join(tmpdir(), `body-${body.name}-`));
  try {
    const camera = ["--camera", `ip:127.0.0.1:${responder.port}`, "--data", data];
    const { exitCode, text } = await runner([...camera, ...args]);
    const lines = text.split("\n").filter((line) => line.trim() !== "");
    const frames = lines.filter((line) => FRAME_LINE.test(line));
    return {
      exitCode,
      lines,
      framesReported: frames.length,
      framesMetered: frames.filter((line) => / [+−-]\d+\.\d+ stop/.test(line)).length,
      filesKept: filesUnder(join(data, "nights")),
      exposures: responder.camera.diary.openings.map(
        ({ way, openedMs, closedMs, setSeconds, iso }) => {
          const openFor = closedMs === null ? "open" : ((closedMs - openedMs) / 1000).toFixed(2);
          return `${way} ${setSeconds?.toFixed(2) ?? "bulb"}→${openFor} ISO ${Math.round(iso)}`;
        },
      ),
      faults: faultsOf(responder.camera.diary),
    };
  } finally {
    await responder.stop();
    rmSync(data, { recursive: true, force: true });
  }
}

function filesUnder(nights: string): number {
  if (!existsSync(nights)) return 0;
  return readdirSync(nights, { recursive: true, withFileTypes: true }).filter(
    (entry) => entry.isFile() && /(^|\/)frames$/.test(entry.parentPath),
  ).length;
}

function start(program: string, args: readonly string[]): Promise<Ended> {
  const child = spawn(process.execPath, ["--import", "tsx", program, ...args], { cwd: ROOT });
  let text = "";
  child.stdout.on("data", (chunk: Buffer) => (text += chunk.toString()));
  child.stderr.on("data", (chunk: Buffer) => (text += chunk.toString()));
  const killer = setTimeout(() => child.kill("SIGKILL"), DEADLINE_MS);
  return new Promise((resolve) => {
    child.once("close", (exitCode) => {
      clearTimeout(killer);
      resolve({ exitCode, text });
    });
  });
}
