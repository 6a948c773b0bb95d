/** What could be read of a range, and in how many places it could not. */
type AroundDamage = { readonly rows: readonly unknown[]; readonly lostCount: number };

/** Attempts in all: where nearly everything is damaged, the search ends. */
const ATTEMPTS_MAX = 20_000;

/**
 * Reads rows by ranges of their keys around what is damaged: a range that cannot be read is halved,
 * down to the key itself, which is then lost.
 *
 * @param read  Rows with keys from one to another, both included; throws where a page is damaged.
 * @param range  `isSound`: whether a row that could be read makes sense.
 */
export function readAround(
  read: (from: number, to: number) => readonly unknown[],
  range: {
    readonly from: number;
    readonly to: number;
    readonly isSound: (row: unknown) => boolean;
  },
): AroundDamage {
  const rows: unknown[] = [];
  let [lostCount, attempts] = [0, 0];
  const visit = (from: number, to: number): void => {
    attempts += 1;
    if (attempts > ATTEMPTS_MAX) {
      lostCount += 1;
      return;
    }
    let found: readonly unknown[];
    try {
      found = read(from, to);
    } catch {
      if (from === to) {
        lostCount += 1;
        return;
      }
      const middle = Math.floor((from + to) / 2);
      visit(from, middle);
      visit(middle + 1, to);
      return;
    }
    for (const row of found) {
      if (range.isSound(row)) rows.push(row);
      else lostCount += 1;
    }
  };
  visit(range.from, range.to);
  return { rows, lostCount };
}
