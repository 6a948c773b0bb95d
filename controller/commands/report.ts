import "../plainFailure.ts";
import { findNight } from "../archive/findNight.ts";
import { writeProblemReport } from "../archive/problemReport.ts";
import { runCommand } from "../commandLine.ts";
import { DATA_OPTION } from "../config.ts";
import { callOf } from "../ownFiles.ts";

const COMMAND = {
  call: callOf("report"),
  purpose:
    "Packs log, events, profile and figures of a night into one zip file for a bug report, without place, keys and serial numbers.",
  options: {
    data: DATA_OPTION,
    pictures: { type: "flag", help: "the frames' small pictures come along" },
  },
  operands: {
    name: "NIGHT",
    help: 'a night\'s name (YYYY-MM-DD_NAME), its folder, or "last"',
    countMin: 1,
    countMax: 1,
  },
} as const;

await runCommand(COMMAND, ({ data, pictures }, [night]) => {
  const nightDir = findNight(data, night!);
  const file = writeProblemReport({ nightDir, dataDir: data, withPictures: pictures });
  process.stdout.write(
    `${file}\nLook through it before you send it: CONTENTS.txt says what is in it.\n`,
  );
});
