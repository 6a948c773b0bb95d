import { NightError } from "../errors.ts";
import { skyFromColumns, type RehearsalSky } from "./givenSky.ts";

const COLUMNS = ["seconds", "luminanceCdM2", "peakRatio", "driftDegPerSecond"] as const;
type Column = (typeof COLUMNS)[number];

/** What a column that the file leaves out holds; null: the file must have it. */
const LEFT_OUT: Readonly<Record<Column, number | null>> = {
  seconds: null,
  luminanceCdM2: null,
  // A sky without structure: nothing brighter than its mean, nothing that moves.
  peakRatio: 1,
  driftDegPerSecond: 0,
};

/**
 * A sky from the text of a rehearsal file: comma-separated, header first, rows by rising seconds.
 * Columns may come in any order; further columns, empty lines and a byte-order mark are passed
 * over. Made for millions of rows: one walk along the text, no copies of it.
 *
 * @throws NightError `sky.file_invalid`, one sentence that names the line: empty file, missing
 *   header or column, a row too short, a value that is no number, and all that a sky refuses
 *   (see `skyFromColumns`).
 */
export function parseSkyCsv(text: string): RehearsalSky {
  const lines = linesOf(text);
  const header = lines.next();
  if (header === null) throw invalid("The sky file is empty.");
  const places = placesOf(header.text);
  const widest = Math.max(...places.map((place) => place ?? 0));
  const starts = new Array<number>(widest + 2);
  const values = COLUMNS.map(() => new Growing());
  const lineNumbers: number[] = [];
  for (let line = lines.next(); line !== null; line = lines.next()) {
    const count = findCells(line.text, starts);
    if (count <= widest) {
      throw invalid(
        `Line ${line.number}: ${count} ${count === 1 ? "value" : "values"} where the header has at least ${widest + 1}.`,
      );
    }
    for (let index = 0; index < COLUMNS.length; index += 1) {
      const column = COLUMNS[index]!;
      const place = places[index] ?? null;
      values[index]!.push(
        place === null
          ? LEFT_OUT[column]!
          : numberOf(line.text.slice(starts[place], starts[place + 1]! - 1), column, line.number),
      );
    }
    lineNumbers.push(line.number);
  }
  const [seconds, luminanceCdM2, peakRatio, driftDegPerSecond] = values.map((column) =>
    column.taken(),
  ) as [Float64Array, Float64Array, Float64Array, Float64Array];
  return skyFromColumns(
    { seconds, luminanceCdM2, peakRatio, driftDegPerSecond },
    (index) => `Line ${lineNumbers[index]}`,
  );
}

/**
 * Writes where each cell of a row begins, and behind the last one where the next would begin, as
 * far as `starts` has room.
 *
 * @returns How many cells the row has, at most one less than there is room for.
 */
function findCells(row: string, starts: number[]): number {
  starts[0] = 0;
  let count = 0;
  while (count < starts.length - 1) {
    const comma = row.indexOf(",", starts[count]);
    count += 1;
    starts[count] = (comma < 0 ? row.length : comma) + 1;
    if (comma < 0) break;
  }
  return count;
}

function invalid(sentence: string): NightError {
  return new NightError("sky.file_invalid", sentence);
}

function linesOf(text: string): { next(): { text: string; number: number } | null } {
  let at = text.startsWith("\uFEFF") ? 1 : 0;
  let number = 0;
  return {
    next() {
      while (at < text.length) {
        const found = text.indexOf("\n", at);
        const end = found < 0 ? text.length : found;
        const line = text.slice(at, end).trim();
        at = end + 1;
        number += 1;
        if (line !== "") return { text: line, number };
      }
      return null;
    },
  };
}

/** Where each column stands in a row; null: the file leaves it out. */
function placesOf(header: string): (number | null)[] {
  const names = header.split(",").map((name) => name.trim().replace(/^"(.*)"$/, "$1"));
  return COLUMNS.map((column) => {
    const place = names.indexOf(column);
    if (place >= 0) return place;
    if (LEFT_OUT[column] !== null) return null;
    const looksLikeData = names.every((name) => name !== "" && Number.isFinite(Number(name)));
    throw invalid(
      looksLikeData
        ? "The sky file has no header; its first line must name the columns seconds,luminanceCdM2."
        : `The header has no column ${column}; it must name seconds,luminanceCdM2.`,
    );
  });
}

function numberOf(cell: string, column: Column, line: number): number {
  const value = cell === "" ? NaN : Number(cell);
  // Number reads a cell of blanks as 0.
  if (value !== 0 ? Number.isFinite(value) : cell.trim() !== "") return value;
  const text = cell.trim();
  throw invalid(
    text === ""
      ? `Line ${line}: ${column} is missing.`
      : `Line ${line}: ${column} is "${text.slice(0, 40)}", which is not a number.`,
  );
}

/** Numbers that come one by one, without the cost of a boxed array. */
class Growing {
  #values = new Float64Array(1024);
  #count = 0;

  push(value: number): void {
    if (this.#count === this.#values.length) {
      const wider = new Float64Array(this.#values.length * 2);
      wider.set(this.#values);
      this.#values = wider;
    }
    this.#values[this.#count] = value;
    this.#count += 1;
  }

  taken(): Float64Array {
    return this.#values.slice(0, this.#count);
  }
}
