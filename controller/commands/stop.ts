import { resolve } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { NightError } from "../../core/errors.ts";
import { runCommand } from "../commandLine.ts";
import { DATA_OPTION } from "../config.ts";
import { callOf } from "../ownFiles.ts";
import { runningProcess } from "../service/runningProcess.ts";

const COMMAND = {
  call: callOf("stop"),
  purpose:
    "Ends the Nattvakt that runs: the open frame is closed and kept, the camera released. A real night goes on when it is started again, a demo begins again.",
  options: {
    data: DATA_OPTION,
    now: { type: "flag", help: "do not wait for the last frames; they stay on the card" },
  },
} as const;

/** An open frame, its reading and its file: longer than the watch itself waits for them, s. */
const WAIT_SECONDS_MAX = 180;
const LOOK_EVERY_MS = 200;

await runCommand(COMMAND, async (options) => {
  const dataDir = resolve(options.data);
  const running = runningProcess(dataDir);
  if (running === null) {
    throw new NightError("daemon.not_running", `No Nattvakt runs on ${dataDir}.`);
  }
  process.kill(running.pid, "SIGTERM");
  if (options.now) process.kill(running.pid, "SIGTERM");
  process.stdout.write(`Ending process ${running.pid}; the open frame is kept.\n`);
  for (let waitedMs = 0; waitedMs < WAIT_SECONDS_MAX * 1000; waitedMs += LOOK_EVERY_MS) {
    if (runningProcess(dataDir)?.pid !== running.pid) {
      process.stdout.write("Ended.\n");
      return;
    }
    await sleep(LOOK_EVERY_MS);
  }
  throw new NightError(
    "daemon.busy",
    `Process ${running.pid} has not ended in ${WAIT_SECONDS_MAX} s; \`${callOf("stop")} --now\` leaves the last frames on the card.`,
  );
});
