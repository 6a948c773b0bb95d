// The daemon, but for its page, with a release contact that is a log; see `fileContactMain.ts`.
import { runCommand } from "../../controller/commandLine.ts";
import { START_COMMAND } from "../../controller/config.ts";
import { startDaemon } from "../../controller/daemon/daemon.ts";

const contact = {
  main: new URL("./fileContactMain.ts", import.meta.url),
  rescue: () => Promise.resolve(),
};

await runCommand(START_COMMAND, async (options) => {
  const daemon = await startDaemon(options, (line) => process.stdout.write(`${line}\n`), {
    contact,
  });
  await daemon.finished;
  await daemon.stop();
});
