/** The pieces that the report's HTML is made of; every text is escaped here. */

export function section(heading: string, content: string): string {
  return `<section><h2>${escapeHtml(heading)}</h2>${content}</section>`;
}

export function listSection(heading: string, lines: readonly string[]): string {
  if (lines.length === 0) return "";
  const items = lines.map((line) => `<li>${escapeHtml(line)}</li>`);
  return section(heading, `<ul>${items.join("")}</ul>`);
}

export function table(heads: readonly string[], rows: readonly (readonly string[])[]): string {
  const cells = (row: readonly string[], tag: "th" | "td"): string =>
    `<tr>${row.map((cell) => `<${tag}>${escapeHtml(cell)}</${tag}>`).join("")}</tr>`;
  return `<table>${cells(heads, "th")}${rows.map((row) => cells(row, "td")).join("")}</table>`;
}

/** A table, or one sentence in its place when there are no rows. */
export function tableOr(
  heads: readonly string[],
  rows: readonly (readonly string[])[],
  none: string,
): string {
  return rows.length === 0 ? `<p>${escapeHtml(none)}</p>` : table(heads, rows);
}

/** Universal Time of day, to the second. */
export function clock(utcMs: number): string {
  return new Date(utcMs).toISOString().slice(11, 19);
}

export function percent(share: number): string {
  return `${Math.round(100 * share)} %`;
}

export function escapeHtml(text: string): string {
  return text
    .replace(/&/g, "&amp;")
    .replace(/</g, "&lt;")
    .replace(/>/g, "&gt;")
    .replace(/"/g, "&quot;");
}
