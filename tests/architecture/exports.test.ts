import { execFileSync } from "node:child_process";
import { readFileSync } from "node:fs";
import { dirname, join, relative, resolve } from "node:path";
import { fileURLToPath } from "node:url";
import { expect, it } from "vitest";

const ROOT = fileURLToPath(new URL("../../", import.meta.url));

/**
 * What the product exports and only tests use. A part that its own file uses, too, may be exported
 * for a test of its own; what nothing in the product uses belongs to tests/support, or nowhere.
 */
const TESTS_ALONE = new Map([
  ["core/pointing/solvePointing.ts followPointing", "its user in the product is being written"],
  ["core/simulation/sky.ts skyLuminanceCdM2", "the truth of a sky, read from what stays private"],
  ["core/simulation/sky.ts driftDegPerSecond", "the truth of a sky, read from what stays private"],
  ["core/simulation/stars.ts starOf", "a star by its numbers, made by what stays private"],
]);

const files = execFileSync("git", ["ls-files", "core", "controller", "ui", "tests"], {
  cwd: ROOT,
  encoding: "utf8",
})
  .split("\n")
  .filter((file) => /\.(ts|svelte)$/.test(file))
  .map((file) => ({ file, text: readFileSync(join(ROOT, file), "utf8") }));

/** Names that are imported from each file, by the product and by the tests. */
const used = { product: namesUsed("product"), tests: namesUsed("tests") };

it("exports nothing that no other file uses", () => {
  const faults = exportsOf().flatMap(({ file, name }) =>
    isUsed("product", file, name) || isUsed("tests", file, name)
      ? []
      : [`${file} exports ${name} for nobody: leave out "export"`],
  );
  expect(faults).toEqual([]);
});

it("exports for tests alone only parts that their own file uses, and four that say why", () => {
  const alone = exportsOf()
    .filter(({ file, name }) => !isUsed("product", file, name) && isUsed("tests", file, name))
    .filter(({ name, text }) => (text.match(new RegExp(`\\b${name}\\b`, "g")) ?? []).length === 1)
    .map(({ file, name }) => `${file} ${name}`);
  const message = "used by tests alone: move it to tests/support";
  expect(alone.sort(), message).toEqual([...TESTS_ALONE.keys()].sort());
});

function exportsOf(): { file: string; name: string; text: string }[] {
  const declaration =
    /^export\s+(?:declare\s+)?(?:abstract\s+)?(?:async\s+)?(?:type|interface|const|let|function\*?|class)\s+(\w+)/gm;
  return files
    .filter(({ file }) => !file.startsWith("tests/") && file.endsWith(".ts"))
    .flatMap(({ file, text }) =>
      [...text.matchAll(declaration)].map((match) => ({ file, name: match[1]!, text })),
    );
}

function isUsed(by: "product" | "tests", file: string, name: string): boolean {
  const names = used[by].get(file);
  return names !== undefined && (names.has(name) || names.has("*"));
}

function namesUsed(by: "product" | "tests"): Map<string, Set<string>> {
  const found = new Map<string, Set<string>>();
  for (const { file, text } of files) {
    if (file.startsWith("tests/") !== (by === "tests")) continue;
    for (const { names, from } of importsIn(text)) {
      const target = relative(".", resolve(dirname(file), from));
      const all = found.get(target) ?? new Set();
      for (const name of names) all.add(name);
      found.set(target, all);
    }
  }
  return found;
}

/** `import { a, type b as c } from`, `export { a } from`, and for all names `import * as` and `import()`. */
function importsIn(text: string): { names: string[]; from: string }[] {
  const statement = /(?:import|export)\s+(?:type\s+)?([^"';]*?)\s+from\s+["'](\.[^"']+)["']/g;
  const later = /\b(import)\(\s*["'](\.[^"']+)["']/g;
  return [...text.matchAll(statement), ...text.matchAll(later)].map((match) => ({
    from: match[2]!,
    names: match[1]!.includes("{")
      ? match[1]!
          .replace(/^[^{]*\{|\}[^}]*$/g, "")
          .split(",")
          .map((word) =>
            word
              .trim()
              .replace(/^type\s+/, "")
              .split(/\s+as\s+|:/)[0]!
              .trim(),
          )
      : ["*"],
  }));
}
