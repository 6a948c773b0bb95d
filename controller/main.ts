import "./plainFailure.ts";
import { daemonWords } from "../core/words/daemonWords.ts";
import { asNightError } from "../core/errors.ts";
import { runCommand } from "./commandLine.ts";
import { cameraTargets, START_COMMAND, type StartOptions } from "./config.ts";
import { DEFAULT_DATA, otherNightsLine } from "./dataFolder.ts";
import { optionsToGoOn } from "./daemon/beginNight.ts";
import { startDaemon, type Daemon } from "./daemon/daemon.ts";
import { checkStart } from "./commands/checkStart.ts";
import { endingSignals } from "./endingSignals.ts";
import { requirePictures } from "./night/frameCounts.ts";
import { isPageStale } from "./pageBuild.ts";
import { openTerminal } from "./terminal.ts";
import { startPageBuild, type PageBuild } from "./pageBuildProcess.ts";
import { keepAwake } from "./service/keepAwake.ts";
import { serviceManager, type Manager } from "./service/manager.ts";

const terminal = openTerminal(process, (listener) => process.on("SIGHUP", listener));
const { print } = terminal;

await runCommand(START_COMMAND, async (options) => {
  // What is wrong with the call is said before anything takes time.
  await checkStart(options);
  if (options.data === DEFAULT_DATA) {
    const other = otherNightsLine(process.cwd(), DEFAULT_DATA);
    if (other !== null) print(other);
  }
  const page = isPageStale() ? startPageBuild(print) : null;
  if (page) print(daemonWords.page.beingBuilt);
  try {
    await watch(options, page);
  } finally {
    page?.stop();
  }
});

/** Runs the program; a night that is begun on its page has it start again with what was chosen. */
async function watch(given: StartOptions, page: PageBuild | null): Promise<void> {
  const manager = serviceManager();
  let options: StartOptions | null = optionsToGoOn(given, print);
  let beginRefusal: string | undefined;
  while (options !== null) {
    const isManaged = manager.isThere;
    const run = startRun(options, { page, beginRefusal, isManaged });
    beginRefusal = undefined;
    const { daemon, chosen } = await run.catch((thrown: unknown) => {
      if (options === given) throw thrown;
      // What was chosen on the page cannot be begun: the page says why, and asks again.
      beginRefusal = asNightError(thrown).message;
      print(beginRefusal);
      return { daemon: null, chosen: null };
    });
    if (daemon === null) {
      options = { ...given, port: options.port };
      continue;
    }
    manager.ready();
    options = await untilEnded(daemon, { options, chosen, manager });
  }
}

/** @returns the running program, and what will be chosen on its page. */
async function startRun(
  options: StartOptions,
  {
    page,
    ...parts
  }: {
    readonly page: PageBuild | null;
    readonly beginRefusal: string | undefined;
    readonly isManaged: boolean;
  },
): Promise<{ readonly daemon: Daemon; readonly chosen: Promise<StartOptions> }> {
  await checkStart(options);
  const isReal = cameraTargets(options).some(({ kind }) => kind !== "virtual");
  let startWith = (_: StartOptions): void => undefined;
  const chosen = new Promise<StartOptions>((resolve) => (startWith = resolve));
  const daemon = await startDaemon(options, print, {
    ...{ ...parts, terminal, startWith },
    ...(isReal ? { keepAwake } : {}),
    ...(page ? { pageState: page.state } : {}),
  });
  return { daemon, chosen };
}

/** @returns what to start with next; null: the program is to end. */
async function untilEnded(
  daemon: Daemon,
  {
    options,
    chosen,
    manager,
  }: { options: StartOptions; chosen: Promise<StartOptions>; manager: Manager },
): Promise<StartOptions | null> {
  const signals = endingSignals({ outlivesTerminal: true });
  // A manager starts again what failed; a night that has ended or was stopped stays so.
  const failureCode = manager.isThere ? 0 : 1;
  let asked = (): void => undefined;
  const next = await new Promise<StartOptions | null>((resolve, reject) => {
    let isStopping = false;
    const end = (then: StartOptions | null): void => {
      if (isStopping) return;
      isStopping = true;
      if (then === null) manager.stopping();
      daemon.stop().then(() => resolve(then), reject);
    };
    asked = (): void => {
      if (isStopping) return void daemon.abandon().then(() => process.exit(failureCode), reject);
      print(daemonWords.end);
      end(null);
    };
    for (const signal of signals) process.on(signal, asked);
    // The page finds the program again where it was.
    const port = Number(new URL(daemon.address).port);
    void chosen.then((choice) => end({ ...choice, port }));
    // Asked for a number of frames, the program is done when they are; else the page stays up.
    if (options.frames !== null) void daemon.finished.then(() => end(null));
  });
  for (const signal of signals) process.off(signal, asked);
  if (options.frames !== null && !manager.isThere) requirePictures(daemon.frameCounts());
  return next;
}
