import type { ChildProcess } from "node:child_process";
import { createInterface } from "node:readline";
import { NightError } from "../../core/errors.ts";
import type { UtcMs } from "../../core/units.ts";
import type { ClockOrigin } from "../timing/clock.ts";
import { askToEnd } from "../workers/askToEnd.ts";
import { startProcess } from "../workers/startProcess.ts";

const MAIN = new URL("./main.ts", import.meta.url);
const START_MS_MAX = 20_000;

/** The virtual camera, running beside the daemon like a camera on a cable. */
export type VirtualCameraProcess = {
  readonly host: string;
  readonly port: number;
  /** Resolves when it is gone, however it went. */
  readonly ended: Promise<void>;
  readonly stop: () => Promise<void>;
};

/**
 * Starts the virtual camera in a process of its own and waits until it listens. It ends by itself
 * when this process is gone, however it went.
 *
 * @throws NightError `camera.unreachable` when it does not come up.
 */
export async function startVirtualCamera(options: {
  readonly origin: ClockOrigin;
  readonly seed: string;
  readonly scenario: string;
  /** When the sky's scenario began: a resumed night goes on with the same sky. */
  readonly scenarioStartUtcMs: UtcMs;
  /** 0: any free one. */
  readonly port: number;
}): Promise<VirtualCameraProcess> {
  const child = startProcess(
    MAIN,
    [
      ...["--port", String(options.port), "--exit-with-parent"],
      ...["--origin-json", JSON.stringify(options.origin)],
      ...["--seed", options.seed, "--scenario", options.scenario],
      ...["--scenario-start-utc", new Date(options.scenarioStartUtcMs).toISOString()],
    ],
    // A group of its own: Ctrl-C reaches the daemon first, which closes the shutter in order.
    { stdio: ["pipe", "pipe", "inherit"], detached: true },
  );
  const listening = await firstLine(child);
  const ended = new Promise<void>((resolve) => child.once("exit", () => resolve()));
  return { ...listening, ended, stop: () => stop(child) };
}

function firstLine(child: ChildProcess): Promise<{ host: string; port: number }> {
  return new Promise((resolve, reject) => {
    const fail = (why: string): void => {
      child.kill("SIGKILL");
      reject(new NightError("camera.unreachable", `The virtual camera did not start: ${why}.`, {}));
    };
    const timer = setTimeout(() => fail("it said nothing"), START_MS_MAX);
    child.once("error", (error) => fail(error.message));
    child.once("exit", (code) => fail(`it ended with code ${code ?? "none"}`));
    createInterface({ input: child.stdout! }).once("line", (line) => {
      clearTimeout(timer);
      child.removeAllListeners("exit");
      const { listening } = JSON.parse(line) as { listening: { host: string; port: number } };
      resolve(listening);
    });
  });
}

function stop(child: ChildProcess): Promise<void> {
  if (child.exitCode !== null || child.signalCode !== null) return Promise.resolve();
  return new Promise((resolve) => {
    const force = setTimeout(() => child.kill("SIGKILL"), 3000);
    child.once("exit", () => {
      clearTimeout(force);
      resolve();
    });
    askToEnd(child);
  });
}
