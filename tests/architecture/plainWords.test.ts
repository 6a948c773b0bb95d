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
  ["insist", "untilNotBusy, repeat"],
  ["insists", "repeats"],
  ["happen(", "applyEvent, or what is done"],
  ["furnish", "addRoutes, or what is added"],
  ["needy", "mostUrgent"],
  ["told", "reported, given, known, printed"],
  ["anew", "again"],
  ["whoever", "anyone who, or what it is: the caller, the process"],
  ["let go of", "release, close, give up"],
  ["lets go of", "releases, closes, gives up"],
  ["is told from", "is distinguished from"],
  ["house job", "upkeep job"],
  ["house keeping", "upkeep"],
  ["house order", "upkeep order"],
  ["house work", "upkeep"],
  ["keep house", "run upkeep"],
  ["frame keeper", "frame file saver; a keeper is a frame worth printing"],
  ["shutter lamp", "shutter flag"],
  ["link pace", "link speed; a pace is how often frames are taken"],
  ["busy pace", "busy pauses"],
];

/** Addresses and fields of the documented API, which others rely on, whatever they are called. */
const CONTRACTS = [/\/api\/kits\/told\b/g, /\/story\b/g, /\btold: v\.array\b/g];
const CONTRACT_LINES = [
  ["controller/web/planRoutes.ts", "return { input, told: reported };"],
  ["ui/lib/api/planClient.ts", 'readonly told: ReportedKit["reported"]'],
  ["ui/lib/api/planClient.ts", "const { input, told } = await tell<Answer>"],
  ["ui/lib/api/planClient.ts", "return { input, reported: told };"],
  ["tests/controller/web/planRoutes.test.ts", 'told: ["fNumberWidest"'],
] as const;

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
      const words = asWords(`${file}\n${withoutContracts(file)}`);
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

function withoutContracts(file: string): string {
  let text = readFileSync(join(ROOT, file), "utf8");
  for (const contract of CONTRACTS) text = text.replace(contract, "");
  for (const [owner, line] of CONTRACT_LINES) if (owner === file) text = text.replace(line, "");
  return text;
}
