import { spawn, type ChildProcess } from "node:child_process";
import { existsSync, mkdirSync, rmdirSync, writeFileSync } from "node:fs";
import { availableParallelism, loadavg } from "node:os";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { ownCommand } from "../../controller/workers/startProcess.ts";
import type { BenchRow } from "./benchRow.ts";
import type { Precedence, ShooterOrder, ShooterResult, WaitName } from "./ordinaryShooter.ts";
import { startDevice } from "./shutter.ts";
import { tableOf } from "./table.ts";
import { valueAtShare } from "../../core/statistics.ts";

const PLAIN: WaitName = "plain timer";
const OURS: WaitName = "sleep, spin 1.5 ms";
const OTHERS: readonly WaitName[] = [
  "sleep, spin 0.75 ms",
  "sleep, spin 3 ms",
  "spin 16 ms",
  "sleep from 30 ms before, spin 1.5 ms",
  "sleep by 1 ms from 30 ms before, spin 1.5 ms",
];
const FRAMES_EACH = 40;
const SHARES = [0.5, 0.9, 0.99];
/** What the service asks for: the most that systemd.resource-control(5) has. */
const GROUP_WEIGHT = 10_000;

/**
 * What the length of an exposure is off by for an ordinary user with a busy program on every
 * processor: ways of waiting for the moment, frame by frame in turns; then the same with what can be
 * given to a program, each beside plain timers in the same run.
 */
export async function benchShutterOrdinary(): Promise<BenchRow[]> {
  const load = Array.from({ length: availableParallelism() }, startBusyProgram);
  try {
    const rows = rowsOf("", await run({ kind: "none" }, [PLAIN, OURS, ...OTHERS]));
    const inGroup = await inHeavyGroup((membersFile) =>
      run({ kind: "group", membersFile }, [PLAIN, OURS]),
    );
    if (inGroup) rows.push(...rowsOf(`, group of weight ${GROUP_WEIGHT}`, inGroup));
    if (process.getuid?.() === 0) {
      rows.push(
        ...rowsOf(", real-time scheduling", await run({ kind: "realTime" }, [PLAIN, OURS])),
      );
    }
    return rows;
  } finally {
    for (const program of load) program.kill("SIGKILL");
  }
}

function rowsOf(precedence: string, errors: ShooterResult): BenchRow[] {
  const plain = errors[PLAIN]!;
  return Object.entries(errors)
    .filter(([name]) => name !== PLAIN)
    .flatMap(([name, errorsMs]) =>
      SHARES.map((share) => {
        const [value, comparedValue] = [
          valueAtShare(errorsMs, share) ?? NaN,
          valueAtShare(plain, share) ?? NaN,
        ];
        return {
          ...{ group: "shutterOrdinary", unit: "ms", value, comparedValue },
          name: `error of a bulb exposure, busy, ${name}${precedence}, p${share * 100}`,
          comparedWith: `plain timers${precedence}, in turns`,
          ratio: value / comparedValue,
          note: `${errorsMs.length} frames, load ${loadavg()[0]?.toFixed(1)} on ${availableParallelism()} processors`,
        };
      }),
    );
}

/** Takes frames in a program of its own, which has no rights but an ordinary user's. */
async function run(precedence: Precedence, waits: readonly WaitName[]): Promise<ShooterResult> {
  const device = await startDevice();
  const { target, origin } = device;
  const order: ShooterOrder = { target, origin, precedence, waits, framesEach: FRAMES_EACH };
  const [program, ...words] = ownCommand(new URL("./ordinaryShooter.ts", import.meta.url));
  const child = spawn(program!, [...words, JSON.stringify(order)], {
    stdio: ["ignore", "pipe", "inherit"],
    // A session of its own, as a program that a desktop starts has: the kernel shares by sessions.
    detached: true,
  });
  let printed = "";
  child.stdout.setEncoding("utf8").on("data", (text: string) => (printed += text));
  try {
    const code = await new Promise<number | null>((resolve, reject) => {
      child.once("error", reject).once("close", resolve);
    });
    if (code !== 0) throw new Error(`the program that takes frames ended with ${code}`);
    return JSON.parse(printed) as ShooterResult;
  } finally {
    device.stop();
  }
}

/** Another program that never rests, in a session of its own. */
function startBusyProgram(): ChildProcess {
  return spawn(process.execPath, ["--eval", "for (;;);"], { stdio: "ignore", detached: true });
}

/** @returns null where nobody may make such a group, or the kernel has none. */
async function inHeavyGroup<T>(act: (membersFile: string) => Promise<T>): Promise<T | null> {
  const places = [
    // Weight 100 and 1024 shares are the ordinary ones. Source: the kernel's cgroup-v2 and sched-design-CFS pages.
    { root: "/sys/fs/cgroup", file: "cpu.weight", value: GROUP_WEIGHT },
    { root: "/sys/fs/cgroup/cpu", file: "cpu.shares", value: (GROUP_WEIGHT / 100) * 1024 },
  ];
  for (const { root, file, value } of places) {
    if (!existsSync(join(root, "cgroup.procs"))) continue;
    const group = join(root, `nattvakt-bench-${process.pid}`);
    try {
      mkdirSync(group);
    } catch {
      continue; // no right to it
    }
    try {
      if (!existsSync(join(group, file))) continue;
      writeFileSync(join(group, file), String(value));
      return await act(join(group, "cgroup.procs"));
    } finally {
      rmdirSync(group);
    }
  }
  return null;
}

if (process.argv[1] !== undefined && import.meta.url === pathToFileURL(process.argv[1]).href) {
  process.stdout.write(tableOf(await benchShutterOrdinary()));
}
