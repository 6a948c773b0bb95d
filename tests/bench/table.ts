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
