// The daemon as `npm start` runs it, but for the page, which is not built first: for the emulated
// machine, where building takes minutes.
import { runCommand } from "../../controller/commandLine.ts";
import { START_COMMAND } from "../../controller/config.ts";
import { startDaemon } from "../../controller/daemon/daemon.ts";

await runCommand(START_COMMAND, async (options) => {
  const daemon = await startDaemon(options, (line) => process.stdout.write(`${line}\n`));
  await daemon.finished;
  await daemon.stop();
});
