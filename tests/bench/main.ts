import { writeFileSync } from "node:fs";
import { runCommand } from "../../controller/commandLine.ts";
import { NightError } from "../../core/errors.ts";
import type { BenchRow } from "./benchRow.ts";
import { BENCHES } from "./benches.ts";
import { minutesTable, tableOf, type GroupMinutes } from "./table.ts";

const COMMAND = {
  call: "npm run bench --",
  purpose: "Measures speed, memory and accuracy, each beside a named comparison in the same run.",
  options: {
    only: { type: "text", value: "GROUP", help: `one of ${Object.keys(BENCHES).join(", ")}` },
    json: { type: "text", value: "FILE", help: "write the rows as JSON as well" },
  },
} as const;

await runCommand(COMMAND, async ({ only, json }) => {
  if (only !== null && !(only in BENCHES)) {
    throw new NightError(
      "usage.invalid",
      `--only takes one of ${Object.keys(BENCHES).join(", ")}, not "${only}"`,
    );
  }
  const rows: BenchRow[] = [];
  const minutes: GroupMinutes[] = [];
  for (const [group, load] of Object.entries(BENCHES)) {
    if (only !== null && only !== group) continue;
    process.stderr.write(`measuring: ${group}\n`);
    const startMs = performance.now();
    const bench = await load();
    rows.push(...(await bench()));
    minutes.push({ group, minutes: (performance.now() - startMs) / 60_000 });
  }
  process.stdout.write(tableOf(rows));
  process.stdout.write(minutesTable(minutes));
  if (json !== null) writeFileSync(json, `${JSON.stringify(rows, null, 2)}\n`);
});
