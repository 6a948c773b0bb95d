import { execFileSync } from "node:child_process";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { describe, expect, it } from "vitest";

const ROOT = fileURLToPath(new URL("../../", import.meta.url));

/**
 * Words that explain nothing to a stranger, or that a native engineer would not write, and what says
 * the same plainly. They stand in no name, comment or message, nor in a file's name.
 */
const BANNED: readonly (readonly [word: string, instead: string])[] = [
  ["desk", "what it does: runner, opener, matcher, hub, model"],
  ["shelf", "catalogues"],
  ["story", "scenario (of a sky), timeline (of a night), line (on the terminal)"],
  ["stories", "scenarios"],
  ["errand", "task"],
  ["errands", "tasks"],
  ["ledger", "knowledge (of the watch), open frames"],
  ["suffer", "handleFailure, or what is done about it"],
  ["suffers", "is affected, or what is wrong with it"],
  ["insist", "untilNotBusy, repeat"],
  ["insists", "repeats"],
  ["happen(", "applyEvent, or what is done"],
  ["happens(", "applyEvent, or what is done"],
  ["happened(", "actualExposure, or what was done"],
  ["furnish", "addRoutes, or what is added"],
  ["furnishes", "adds"],
  ["furnished", "added"],
  ["needy", "mostUrgent"],
  ["told", "reported, given, known, printed"],
  ["tell of", "report, say of, describe"],
  ["tells of", "reports, says of, describes"],
  ["telling of", "reporting"],
  ["anew", "again"],
  ["whoever", "anyone who, or what it is: the caller, the process"],
  ["let go of", "release, close, give up"],
  ["lets go of", "releases, closes, gives up"],
  ["is told from", "is distinguished from"],
  ["house", "upkeep"],
  ["housekeeping", "upkeep"],
  ["frame keeper", "frame file saver; a keeper is a frame worth printing"],
  ["shutter lamp", "shutter flag"],
  ["link pace", "link speed; a pace is how often frames are taken"],
  ["busy pace", "busy pauses"],
];

const files = execFileSync("git", ["ls-files", "core", "controller", "ui", "tests"], {
  cwd: ROOT,
  encoding: "utf8",
})
  .split("\n")
  .filter((file) => /\.(ts|svelte|mjs)$/.test(file) && !file.endsWith("plainWords.test.ts"));

describe("plain words", () => {
  it("stand in every name, comment and message", () => {
    const patterns = BANNED.map(([word, instead]) => ({ word, instead, pattern: wholeWord(word) }));
    const found = files.flatMap((file) => {
      const words = asWords(`${file}\n${readFileSync(join(ROOT, file), "utf8")}`);
      return patterns
        .filter(({ pattern }) => pattern.test(words))
        .map(({ word, instead }) => `${file} says "${word}": write ${instead}`);
    });
    expect(found).toEqual([]);
  });

  it("are looked for in names, too: whole, in their parts, and across a line of a comment", () => {
    const finds = (word: string, text: string): boolean => wholeWord(word).test(asWords(text));
    expect(finds("desk", "new FrameDesk()")).toBe(true);
    expect(finds("desk", "const DESK_MAX = 1")).toBe(true);
    expect(finds("let go of", " * is let go\n   * of again")).toBe(true);
    expect(finds("happen(", "happen(bench, next)")).toBe(true);
    expect(finds("desk", "a desktop")).toBe(false);
    expect(finds("told", "threshold")).toBe(false);
    expect(finds("story", "history, a storyless night")).toBe(false);
  });
});

/** Names split into their parts, comments joined over their lines, all in small letters. */
function asWords(text: string): string {
  return text
    .replace(/\n\s*(\*|\/\/)\s*/g, " ")
    .replace(/([a-z\d])([A-Z])/g, "$1 $2")
    .replace(/[_-]/g, " ")
    .toLowerCase();
}

function wholeWord(word: string): RegExp {
  const escaped = word.replace("(", "\\(").replaceAll(" ", "\\s+");
  return new RegExp(`\\b${escaped}${word.endsWith("(") ? "" : "\\b"}`);
}
