import "../plainFailure.ts";
import { NightError } from "../../core/errors.ts";
import { Catalogue } from "../archive/catalogue.ts";
import { findNight } from "../archive/findNight.ts";
import { runCommand } from "../commandLine.ts";
import { DEFAULT_DATA } from "../dataFolder.ts";
import { replayNight } from "../night/replay.ts";
import { callOf } from "../ownFiles.ts";

const COMMAND = {
  call: callOf("replay"),
  purpose:
    "Feeds a night's recorded events through the watch again and compares every decision with what was done.",
  options: {
    data: { type: "text", value: "DIR", help: "where nights are kept", default: DEFAULT_DATA },
  },
  operands: {
    name: "NIGHT",
    help: "a night's name (YYYY-MM-DD_NAME) or folder",
    countMin: 1,
    countMax: 1,
  },
} as const;

await runCommand(COMMAND, (options, [night]) => {
  const catalogue = Catalogue.open(findNight(options.data, night!), { readOnly: true });
  try {
    for (const report of replayNight(catalogue)) {
      const { cameraId, eventCount, orderCount, differences } = report;
      process.stdout.write(
        `${cameraId}: ${eventCount} events, ${orderCount} frames ordered, ${differences.length} differ\n`,
      );
      for (const line of differences.slice(0, 10)) process.stdout.write(`  ${line}\n`);
      if (differences.length > 0) {
        throw new NightError(
          "invariant.violated",
          `${differences.length} decisions came out differently; the night was recorded with ${versionsOf(catalogue)}.`,
        );
      }
    }
  } finally {
    catalogue.close();
  }
});

function versionsOf(catalogue: Catalogue): string {
  const versions = catalogue.getState<{ nattvakt: string; node: string }>("versions");
  return versions ? `Nattvakt ${versions.nattvakt} on Node ${versions.node}` : "an unknown version";
}
