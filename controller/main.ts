import { runCommand } from "./commandLine.ts";
import { START_COMMAND } from "./config.ts";
import { startDaemon } from "./daemon/daemon.ts";
import { checkStart } from "./daemon/checkStart.ts";
import { buildPageIfStale } from "./pageBuild.ts";

await runCommand(START_COMMAND, async (options) => {
  // What is wrong with the call is said before anything takes time.
  await checkStart(options);
  await buildPageIfStale();
  const daemon = await startDaemon(options, (line) => process.stdout.write(`${line}\n`));
  await new Promise<void>((resolve, reject) => {
    let isStopping = false;
    const end = (): void => {
      isStopping = true;
      daemon.stop().then(resolve, reject);
    };
    const asked = (): void => {
      if (isStopping) return void daemon.abandon().then(() => process.exit(1), reject);
      process.stdout.write("Ending in order; the open frame is kept. Once more to end at once.\n");
      end();
    };
    process.on("SIGINT", asked);
    process.on("SIGTERM", asked);
    // Asked for a number of frames, the program is done when they are; else the page stays up.
    if (options.frames !== null) void daemon.finished.then(() => isStopping || end());
  });
});
