import { execFileSync } from "node:child_process";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { describe, expect, it } from "vitest";

const ROOT = fileURLToPath(new URL("../../", import.meta.url));

/**
 * Words that a native engineer would not write, what says the same plainly, and how many uses are
 * left in the product. The numbers only ever fall; at 0 the word is banned.
 */
const WORDS: readonly (readonly [word: RegExp, instead: string, leftMax: number])[] = [
  [/\banew\b/gi, "again", 9],
  [/\bwhoever\b/gi, "anyone who, or what it is", 25],
  [/\btold of\b/gi, "reported", 17],
  [/\blets? go of\b/gi, "releases, closes, gives up", 18],
  [/\bis told from\b/gi, "is distinguished from", 2],
  [/\bsuffer\b/g, "handleFailure, or what is done about it", 3],
  [/#insist\b/g, "untilNotBusy", 3],
  [/\bfurnish\b/g, "addRoutes, or what is added", 2],
];

const files = execFileSync("git", ["ls-files", "core", "controller"], {
  cwd: ROOT,
  encoding: "utf8",
})
  .split("\n")
  .filter((file) => file.endsWith(".ts"));

describe("plain words", () => {
  it.each(WORDS)("%s gives way to %j", (word, instead, leftMax) => {
    const uses = files.flatMap((file) => {
      const count = readFileSync(join(ROOT, file), "utf8").match(word)?.length ?? 0;
      return count === 0 ? [] : [{ file, count }];
    });
    const total = uses.reduce((sum, { count }) => sum + count, 0);
    const where = uses.map(({ file, count }) => `${file} ${count}`).join(", ");
    expect(total, `say "${instead}"; it stands in ${where}`).toBeLessThanOrEqual(leftMax);
  });
});
