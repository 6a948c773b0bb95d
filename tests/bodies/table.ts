import { writeFileSync } from "node:fs";
import { argv } from "node:process";
import { fileURLToPath } from "node:url";
import { readBodies, type Body } from "./body.ts";
import { SWITCH_NAMES } from "./switches.ts";

/** Where the table body × switch is kept; `node --import tsx tests/bodies/table.ts` writes it. */
export const TABLE_FILE = fileURLToPath(new URL("table.csv", import.meta.url));

/** A line a body, a column a switch. */
export function tableOf(bodies: readonly Body[]): string {
  const lines = bodies.map(({ name, switches }) => [
    name,
    ...SWITCH_NAMES.map((switchName) => switches[switchName]),
  ]);
  return [["body", ...SWITCH_NAMES], ...lines].map((line) => `${line.join(",")}\n`).join("");
}

if (argv[1] === fileURLToPath(import.meta.url)) writeFileSync(TABLE_FILE, tableOf(readBodies()));
