import type { BenchRow } from "./benchRow.ts";

/** The rows as a table for a terminal, one group after another. */
export function tableOf(rows: readonly BenchRow[]): string {
  const cells = rows.map((row) => [
    row.group,
    row.name,
    `${figure(row.value)} ${row.unit}`,
    `${row.comparedWith}: ${figure(row.comparedValue)} ${row.unit}`,
    `× ${figure(row.ratio)}`,
    row.note ?? "",
  ]);
  const head = ["group", "what", "measured", "compared with", "ratio", "note"];
  const all = [head, ...cells];
  const widths = head.map((_, column) => Math.max(...all.map((line) => line[column]!.length)));
  return `${all
    .map((line) =>
      line
        .map((cell, column) => cell.padEnd(widths[column]!))
        .join("  ")
        .trimEnd(),
    )
    .join("\n")}\n`;
}

function figure(value: number): string {
  if (!Number.isFinite(value)) return "–";
  if (value !== 0 && Math.abs(value) < 0.01) return value.toExponential(1);
  return String(Number(value.toPrecision(3)));
}

/** How long a group of measurements took. */
export type GroupMinutes = { readonly group: string; readonly minutes: number };

/** The whole bench keeps to this many minutes on two idle cores. */
const BENCH_MINUTES_MAX = 20;

/** Minutes of every group, the longest first, and of all beside what they may take. */
export function minutesTable(groups: readonly GroupMinutes[]): string {
  const sum = groups.reduce((total, { minutes }) => total + minutes, 0);
  const rows = groups
    .toSorted((a, b) => b.minutes - a.minutes)
    .map(({ group, minutes }) => `| ${group} | ${minutes.toFixed(1)} |`);
  const all = `| all, of ${BENCH_MINUTES_MAX} at most | ${sum.toFixed(1)} |`;
  return ["", "| group | minutes |", "| --- | ---: |", ...rows, all, ""].join("\n");
}
