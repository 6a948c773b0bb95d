import { resolve } from "node:path";
import { NightError } from "../../core/errors.ts";
import { runCommand } from "../commandLine.ts";
import { cameraTargets, isDemoOf, START_COMMAND, type StartOptions } from "../config.ts";
import { checkStart } from "./checkStart.ts";
import { callOf } from "../ownFiles.ts";
import { installService, removeService, serviceStatus, thisSystem } from "../service/service.ts";
import { ownCommand } from "../workers/startProcess.ts";

const MAIN = new URL("../main.ts", import.meta.url);
/** Options that name a file or folder; a service has another working folder. */
const PATHS: readonly string[] = ["data", "frames-folder"];

await runCommand(
  {
    call: callOf("service"),
    purpose:
      "Starts Nattvakt with this computer and keeps it going, as a service of your own account. What it is installed with, it is always started with.",
    options: START_COMMAND.options,
    operands: {
      name: "install|remove|status",
      help: "what to do; with install, the options that the service is to be started with",
      countMin: 1,
      countMax: 1,
    },
  },
  async (options, [action]) => {
    for (const line of await linesOf(action!, options)) process.stdout.write(`${line}\n`);
  },
);

async function linesOf(action: string, options: StartOptions): Promise<readonly string[]> {
  if (action === "remove") return removeService(thisSystem());
  if (action === "status") return serviceStatus(thisSystem());
  if (action !== "install") {
    throw new NightError("usage.invalid", `"${action}" is none of install, remove and status`);
  }
  if (isDemoOf(cameraTargets(options))) {
    throw new NightError(
      "usage.invalid",
      "the demo is no service; name a camera with --camera, or serve the page alone with --no-demo",
    );
  }
  if (options["new-night"]) {
    throw new NightError(
      "usage.invalid",
      "--new-night is for one start; a service with it would begin another night after every failure",
    );
  }
  await checkStart(options);
  const command = [...ownCommand(MAIN), ...argumentsOf(options)];
  const exposureSecondsMax = options["max-exposure-seconds"];
  return installService({ command, exposureSecondsMax }, thisSystem());
}

/** The options as words again, with whole paths; what is left out stays so. */
function argumentsOf(options: StartOptions): readonly string[] {
  return Object.entries(options).flatMap(([name, value]) => {
    if (value === null || value === false) return [];
    if (value === true) return [`--${name}`];
    return [`--${name}=${PATHS.includes(name) ? resolve(String(value)) : value}`];
  });
}
