import { execFileSync } from "node:child_process";
import { basename } from "node:path";
import { fileURLToPath } from "node:url";
import { expect, test } from "vitest";

const ROOT = fileURLToPath(new URL("../../", import.meta.url));

/** Files that share a name on purpose, and why. The list may become shorter, not longer. */
const SHARED_ON_PURPOSE: Readonly<Record<string, string>> = {
  "benchCheck.ts": "in commands/ it is named by its command, as it is typed",
  "meter.ts": "in commands/ it is named by its command, as it is typed",
  "plan.ts": "in commands/ it is named by its command, as it is typed",
  "replay.ts": "in commands/ it is named by its command, as it is typed",
  "report.ts": "in commands/ it is named by its command, as it is typed",
  "service.ts": "in commands/ it is named by its command, as it is typed",
  "main.ts": "where a program starts",
  "events.ts": "in ptp/ a table of the standard beside operations.ts, responses.ts and formats.ts",
};
const SHARED_MAX = 8;

test("no two files share a name but those of which a reader knows which is which", () => {
  const files = execFileSync("git", ["ls-files", "core", "controller", "ui"], {
    cwd: ROOT,
    encoding: "utf8",
  })
    .split("\n")
    .filter((file) => /\.(ts|svelte)$/.test(file));
  const byName = new Map<string, readonly string[]>();
  for (const file of files) {
    const name = basename(file);
    byName.set(name, [...(byName.get(name) ?? []), file]);
  }
  const shared = [...byName].filter(([, paths]) => paths.length > 1);
  const found = shared
    .filter(([name]) => !(name in SHARED_ON_PURPOSE))
    .map(([name, paths]) => `${name}: ${paths.join(", ")}: name each by what it alone is`);
  expect(found).toEqual([]);
  const unshared = Object.keys(SHARED_ON_PURPOSE).filter(
    (name) => !shared.some(([one]) => one === name),
  );
  expect(unshared, "no longer shared: take them off the list").toEqual([]);
  expect(Object.keys(SHARED_ON_PURPOSE).length).toBeLessThanOrEqual(SHARED_MAX);
});
