import { runCommand } from "./commandLine.ts";
import { START_COMMAND } from "./config.ts";
import { startDaemon } from "./daemon.ts";
import { buildPageIfStale } from "./pageBuild.ts";

await runCommand(START_COMMAND, async (options) => {
  await buildPageIfStale();
  const daemon = await startDaemon(options, (line) => process.stdout.write(`${line}\n`));
  let isStopping = false;
  const ended = new Promise<void>((resolve, reject) => {
    const stop = (): void => {
      if (isStopping) return void daemon.abandon().then(() => process.exit(1), reject);
      isStopping = true;
      process.stdout.write("Ending in order; the open frame is kept. Once more to end at once.\n");
      daemon.stop().then(resolve, reject);
    };
    process.on("SIGINT", stop);
    process.on("SIGTERM", stop);
    // Asked for a number of frames, the program is done when they are; else the page stays up.
    if (options.frames !== null) {
      void daemon.finished.then(() => {
        if (!isStopping) stop();
      });
    }
  });
  await ended;
});
