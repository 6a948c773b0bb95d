import "./plainFailure.ts";
import { runCommand } from "./commandLine.ts";
import { cameraTargets, START_COMMAND, type StartOptions } from "./config.ts";
import { DEFAULT_DATA, otherNightsLine } from "./dataFolder.ts";
import { startDaemon } from "./daemon/daemon.ts";
import { checkStart } from "./commands/checkStart.ts";
import { endingSignals } from "./endingSignals.ts";
import { requirePictures } from "./night/frameCounts.ts";
import { isPageStale } from "./pageBuild.ts";
import { openTerminal } from "./terminal.ts";
import { startPageBuild, type PageBuild } from "./pageBuildProcess.ts";
import { keepAwake } from "./service/keepAwake.ts";
import { serviceManager } from "./service/manager.ts";

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
  if (page) print("The page is being built beside the watch; this takes a few seconds.");
  const isReal = cameraTargets(options).some(({ kind }) => kind !== "virtual");
  const letSleep = isReal ? keepAwake(print) : null;
  try {
    await watch(options, page);
  } finally {
    letSleep?.();
    page?.stop();
  }
});

async function watch(options: StartOptions, page: PageBuild | null): Promise<void> {
  const manager = serviceManager();
  const daemon = await startDaemon(options, print, {
    terminal,
    ...(page ? { pageState: page.state } : {}),
  });
  manager.ready();
  await new Promise<void>((resolve, reject) => {
    let isStopping = false;
    const end = (): void => {
      isStopping = true;
      manager.stopping();
      daemon.stop().then(resolve, reject);
    };
    const asked = (): void => {
      if (isStopping) return void daemon.abandon().then(() => process.exit(1), reject);
      print("Ending in order; the open frame is kept. Once more to end at once.");
      end();
    };
    for (const signal of endingSignals({ outlivesTerminal: true })) process.on(signal, asked);
    // Asked for a number of frames, the program is done when they are; else the page stays up.
    if (options.frames !== null) void daemon.finished.then(() => isStopping || end());
  });
  if (options.frames !== null) requirePictures(daemon.frameCounts());
}
