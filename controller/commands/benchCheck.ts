import "../plainFailure.ts";
import { utcMs } from "../../core/units.ts";
import { NightError } from "../../core/errors.ts";
import { approveProfile } from "../bench-check/approveProfile.ts";
import { benchCheck } from "../bench-check/benchCheck.ts";
import { benchReport } from "../bench-check/benchReport.ts";
import { verdictOf } from "../bench-check/verdict.ts";
import { workingControls } from "../bench-check/workingControls.ts";
import { writeLocalProfile } from "../bench-check/localProfile.ts";
import { createTransport } from "../cameras/createTransport.ts";
import { startOrigin } from "../timing/clock.ts";
import { runCommand } from "../commandLine.ts";
import { cameraTargetOf } from "../config.ts";
import { DEFAULT_DATA } from "../dataFolder.ts";
import { endingSignals } from "../endingSignals.ts";
import { callOf } from "../ownFiles.ts";
import { askForPriority } from "../workers/threadPriority.ts";

const COMMAND = {
  call: callOf("bench-check"),
  purpose:
    "Proves in about a minute what a connected camera can do, lens cap on or off: settings, bulb of 1, 2 and 5 s and the camera's own timer against the files' own word, latency, dead time, previews, events, battery. Ends in a verdict with the one thing to do next; exits 0 only when a night can be run. Writes what it found into a profile of your own, which the night's timing then uses.",
  options: {
    camera: {
      type: "text",
      value: "WHICH",
      required: true,
      help: "usb, usb:SERIAL, usb:PLACE, ip:HOST or ip:HOST:PORT",
    },
    data: {
      type: "text",
      value: "DIR",
      help: "where your profiles are kept",
      default: DEFAULT_DATA,
    },
    approve: {
      type: "text",
      value: "ID",
      help: "first approve a profile of your own that names its maker's own operations",
    },
    json: { type: "flag", help: "print the figures as JSON" },
    "no-profile": { type: "flag", help: "write no profile" },
  },
} as const;

await runCommand(COMMAND, async (options) => {
  const target = cameraTargetOf(options.camera);
  if (target.kind === "virtual") {
    throw new NightError("usage.invalid", "--camera must name a camera: usb or ip:HOST");
  }
  if (options.approve !== null) approveProfile(options.data, options.approve);
  const abort = new AbortController();
  for (const signal of endingSignals()) process.once(signal, () => abort.abort());
  // As the night's timing thread asks for it, and with the same right.
  const scheduling = askForPriority();
  const startUtcMs = utcMs(Date.now());
  const figures = await benchCheck({
    scheduling,
    createTransport: () => createTransport(target),
    controlsFor: (info, usbIds) => workingControls(info, options.data, usbIds),
    origin: startOrigin({ rate: 1, startUtcMs }),
    onStep: (sentence) => process.stderr.write(`${sentence}\n`),
    signal: abort.signal,
  });
  process.stdout.write(
    options.json ? `${JSON.stringify(figures, null, 2)}\n` : benchReport(figures),
  );
  if (verdictOf(figures).kind === "contactNeeded") process.exitCode = 1;
  // A device that takes no pictures gets no profile.
  if (options["no-profile"] || !figures.offersCapture) return;
  const file = writeLocalProfile(figures, { dataDir: options.data, utcMs: startUtcMs });
  process.stderr.write(`Written: ${file}\n`);
});
