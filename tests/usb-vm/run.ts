import { runCommand } from "../../controller/commandLine.ts";
import { NightError } from "../../core/errors.ts";
import { makeCameraFolder } from "./cameraFolder.ts";
import { insideMachine } from "./insideMachine.ts";
import { NoMachine, prepareMachine, PROJECT, runMachine } from "./machine.ts";
import { readySources } from "./readySources.ts";

const COMMAND = {
  call: "npm run test:usb --",
  purpose:
    "Tests cameras on USB against a real kernel's USB stack: boots a small emulated machine and runs the tests of tests/usb-vm in it. Where the machine cannot be had it says why and skips.",
  options: {
    only: { type: "text", value: "WORD", help: "only the test files with this in their name" },
    "limit-seconds": {
      type: "number",
      value: "S",
      help: "the machine is switched off after this long",
      default: 1500,
      above: 0,
    },
    required: { type: "flag", help: "fail where the machine cannot be had" },
  },
} as const;

await runCommand(COMMAND, async (options) => {
  try {
    const machine = prepareMachine();
    const cameraDir = makeCameraFolder(machine.dir);
    const readyDir = await readySources(PROJECT, machine.dir);
    const vitest = `node node_modules/vitest/vitest.mjs run --config tests/usb-vm/vitest.config.ts --reporter=verbose ${options.only ?? ""}`;
    const code = await runMachine(machine, {
      command: insideMachine({ cameraDir, readyDir }, vitest),
      timeoutMs: options["limit-seconds"] * 1000,
      cameraDir,
    });
    if (code === null) {
      throw new NightError("deliver.failed", "The emulated machine did not finish in time.");
    }
    process.exitCode = code;
  } catch (thrown) {
    if (!(thrown instanceof NoMachine) || options.required) throw thrown;
    process.stdout.write(`\nSKIPPED: USB against a real kernel: ${thrown.message}\n\n`);
  }
});
