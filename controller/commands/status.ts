import { resolve } from "node:path";
import { NightError } from "../../core/errors.ts";
import { runCommand } from "../commandLine.ts";
import { DATA_OPTION } from "../config.ts";
import { askDaemon } from "../service/askDaemon.ts";
import { callOf } from "../ownFiles.ts";
import { runningProcess } from "../service/runningProcess.ts";

const COMMAND = {
  call: callOf("status"),
  purpose: "Says whether Nattvakt runs, where its page is and how the night stands.",
  options: { data: DATA_OPTION },
} as const;

await runCommand(COMMAND, async (options) => {
  const dataDir = resolve(options.data);
  const running = runningProcess(dataDir);
  if (running === null) {
    throw new NightError("daemon.not_running", `No Nattvakt runs on ${dataDir}.`);
  }
  const { state, watches } = await askDaemon(running);
  process.stdout.write(`${state.sign} ${state.sentence}\n`);
  for (const watch of watches) {
    process.stdout.write(`${watch.cameraLabel}: ${watch.frameCount} frames, ${watch.phase}\n`);
  }
  process.stdout.write(`Process ${running.pid}, page ${running.address}\n`);
});
