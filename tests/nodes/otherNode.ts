import { spawn, type ChildProcess } from "node:child_process";
import { mkdirSync, writeFileSync } from "node:fs";
import { delimiter, dirname, join } from "node:path";
import { NightError } from "../../core/errors.ts";

/** Another Node with an npm of its time, both from the package registry and without an install script. */
export type OtherNode = {
  readonly version: string;
  readonly execPath: string;
  readonly npmPath: string;
};

export type Run = {
  /** Null when it was ended by a signal or took too long. */
  readonly code: number | null;
  /** Both streams. */
  readonly printed: string;
};

const FETCH_MS_MAX = 300_000;

/** The registry did not give the Node that was asked for. */
export class NoSuchNode extends NightError {
  constructor(wanted: string, why: string) {
    super("usage.invalid", `Node ${wanted} cannot be had from the package registry: ${why}`);
  }
}

/**
 * The newest npm refuses a Node older than 22.22 (its `engines`); such a Node brought npm 10.
 * Source: nodejs.org's list of releases.
 */
function npmFor(wanted: string): string {
  return Number(wanted.split(".")[0]) < 22 ? "npm@10" : "npm@latest";
}

/** @throws NoSuchNode when the registry does not answer or has none for this system. */
export async function fetchNode(wanted: string, folder: string): Promise<OtherNode> {
  const dir = join(folder, `node-${wanted}`);
  mkdirSync(dir);
  writeFileSync(join(dir, "package.json"), "{}\n");
  const name = `node-${process.platform === "win32" ? "win" : process.platform}-${process.arch}`;
  const npm = process.platform === "win32" ? "npm.cmd" : "npm";
  const install = ["install", "--ignore-scripts", "--no-audit", "--no-fund"];
  const fetched = await run(npm, [...install, `${name}@${wanted}`, npmFor(wanted)], {
    cwd: dir,
    limitMs: FETCH_MS_MAX,
  });
  if (fetched.code !== 0) throw new NoSuchNode(wanted, lastLine(fetched.printed));
  const execPath = join(dir, "node_modules", name, "bin", "node");
  const { code, printed } = await run(execPath, ["--version"], { cwd: dir, limitMs: 30_000 });
  if (code !== 0) throw new NoSuchNode(wanted, lastLine(printed));
  const npmPath = join(dir, "node_modules", "npm", "bin", "npm-cli.js");
  return { version: printed.trim().slice(1), execPath, npmPath };
}

/** What a person types, with this Node first on the path: `npm ARGS`. */
export function startNpm(node: OtherNode, args: readonly string[], cwd: string): ChildProcess {
  return spawn(node.execPath, [node.npmPath, ...args], {
    cwd,
    env: environment(dirname(node.execPath)),
    stdio: ["ignore", "pipe", "pipe"],
    // A group of its own, so that a kill reaches the program behind npm and its shell.
    detached: true,
  });
}

export function runNpm(
  node: OtherNode,
  args: readonly string[],
  options: { readonly cwd: string; readonly limitMs: number },
): Promise<Run> {
  return untilEnd(startNpm(node, args, options.cwd), options.limitMs);
}

export function run(
  file: string,
  args: readonly string[],
  options: { readonly cwd: string; readonly limitMs: number },
): Promise<Run> {
  const child = spawn(file, args, {
    cwd: options.cwd,
    env: environment(null),
    stdio: ["ignore", "pipe", "pipe"],
    detached: true,
  });
  return untilEnd(child, options.limitMs);
}

/** Collects what a process prints; `seen` hears all of it so far, every time there is more. */
export function untilEnd(
  child: ChildProcess,
  limitMs: number,
  seen: (printed: string) => void = () => undefined,
): Promise<Run> {
  let printed = "";
  for (const stream of [child.stdout!, child.stderr!]) {
    stream.setEncoding("utf8");
    stream.on("data", (text: string) => {
      printed += text;
      seen(printed);
    });
  }
  return new Promise((resolve, reject) => {
    const timer = setTimeout(() => killGroup(child), limitMs);
    child.once("error", reject);
    child.once("close", (code) => {
      clearTimeout(timer);
      resolve({ code, printed });
    });
  });
}

export function killGroup(child: ChildProcess): void {
  try {
    process.kill(-child.pid!, "SIGKILL");
  } catch {
    // It has ended already.
  }
}

export function lastLine(printed: string): string {
  return printed.trim().split("\n").at(-1) ?? "";
}

/** Ours without what the npm that started us has put there: settings of that one, not of this. */
function environment(firstOnPath: string | null): NodeJS.ProcessEnv {
  const kept = Object.entries(process.env).filter(
    ([name]) => !/^npm_/i.test(name) && !/^(NODE_OPTIONS|INIT_CWD|VITEST.*)$/.test(name),
  );
  const env = Object.fromEntries(kept);
  if (firstOnPath !== null) env.PATH = `${firstOnPath}${delimiter}${env.PATH ?? ""}`;
  return env;
}
