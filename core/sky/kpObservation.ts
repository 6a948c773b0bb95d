/** The newest Kp of a public feed. */
export type KpObservation = {
  /** 0..9, in thirds. */
  readonly kp: number;
  /** Begin of the interval it speaks for, milliseconds since 1970. */
  readonly atUtcMs: number;
};

/**
 * The newest Kp in a feed's JSON, or `null` when there is none in it.
 *
 * Understood are the three shapes that public feeds have: rows under a heading row
 * (`[["time_tag", "Kp", …], ["2026-01-10 21:00:00", "3.33", …]]`), a list of objects with a time
 * and a Kp (`[{"time_tag": …, "Kp": 3.33}]`), and columns (`{"datetime": […], "Kp": […]}`). Times
 * without a zone are UTC. Rows with no usable time or Kp are passed over.
 *
 * @param value  Parsed JSON, of any shape.
 * @param nowUtcMs  Rows that begin later are forecasts, not observations, and are passed over.
 */
export function newestKp(value: unknown, nowUtcMs: number): KpObservation | null {
  let newest: KpObservation | null = null;
  for (const { time, kp } of rowsOf(value)) {
    const row = { kp: numberOf(kp), atUtcMs: timeOf(time) };
    if (!(row.kp >= 0 && row.kp <= 9) || !(row.atUtcMs <= nowUtcMs)) continue;
    if (newest === null || row.atUtcMs >= newest.atUtcMs) newest = row;
  }
  return newest;
}

type Row = { readonly time: unknown; readonly kp: unknown };

const TIME_NAMES = ["time_tag", "datetime", "time", "date", "timestamp"];
const KP_NAMES = ["kp", "kp_index", "estimated_kp", "kp_value"];

function rowsOf(value: unknown): readonly Row[] {
  if (Array.isArray(value)) {
    const [heading, ...rest] = value as unknown[];
    return Array.isArray(heading) ? rowsUnder(heading, rest) : value.map(rowOfObject);
  }
  if (typeof value === "object" && value !== null) return rowsOfColumns(value);
  return [];
}

function rowsUnder(heading: readonly unknown[], rows: readonly unknown[]): readonly Row[] {
  const names = heading.map((name) => String(name).toLowerCase());
  const timeAt = names.findIndex((name) => TIME_NAMES.includes(name));
  const kpAt = names.findIndex((name) => KP_NAMES.includes(name));
  return rows
    .filter((row): row is unknown[] => Array.isArray(row))
    .map((row) => ({ time: row[timeAt], kp: row[kpAt] }));
}

function rowOfObject(value: unknown): Row {
  return { time: fieldOf(value, TIME_NAMES), kp: fieldOf(value, KP_NAMES) };
}

function rowsOfColumns(value: object): readonly Row[] {
  const times = fieldOf(value, TIME_NAMES);
  const kps = fieldOf(value, KP_NAMES);
  if (!Array.isArray(times) || !Array.isArray(kps)) return [rowOfObject(value)];
  return times.map((time: unknown, index) => ({ time, kp: (kps as unknown[])[index] }));
}

function fieldOf(value: unknown, names: readonly string[]): unknown {
  if (typeof value !== "object" || value === null) return undefined;
  for (const name of names) {
    const key = Object.keys(value).find((candidate) => candidate.toLowerCase() === name);
    if (key !== undefined) return (value as Record<string, unknown>)[key];
  }
  return undefined;
}

function numberOf(value: unknown): number {
  if (typeof value === "number") return value;
  return typeof value === "string" && value.trim() !== "" ? Number(value) : NaN;
}

function timeOf(value: unknown): number {
  if (typeof value !== "string") return NaN;
  const text = value.trim().replace(" ", "T");
  return Date.parse(/(Z|[+-]\d\d:?\d\d)$/.test(text) ? text : `${text}Z`);
}
