import { spawnSync } from "node:child_process";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { join, relative } from "node:path";
import { fileURLToPath } from "node:url";
import { expect, it, onTestFinished } from "vitest";
import { repeatCommand } from "../support/repeatCommand.ts";

const ROOT = fileURLToPath(new URL("../../", import.meta.url));

it("names the file from here, and the test by a pattern that a shell takes as it is", () => {
  const file = join(process.cwd(), "tests/core/one.test.ts");
  expect(repeatCommand({ file, name: "a group > is 5 % (or $less)" })).toBe(
    "npm run test:only -- tests/core/one.test.ts -t '^a group is 5 % .or .less.$'",
  );
});

it("puts the seed and the path of what a property failed on before the command", () => {
  const failing = { seed: -12, path: "3:0:1" };
  expect(repeatCommand({ file: join(process.cwd(), "a.test.ts"), name: "it's" }, failing)).toBe(
    "SEED=-12 SEED_PATH=3:0:1 npm run test:only -- a.test.ts -t '^it.s$'",
  );
});

const FAILING = `
import { expect, test } from "vitest";
import fc from "../../support/properties.ts";
test("a property that fails above 1000", () => {
  fc.assert(fc.property(fc.nat(), (value) => { expect(value).toBeLessThan(1000); }));
});
`;

it("ends a failing property with the command, and the command fails on the same value", () => {
  const folder = mkdtempSync(join(ROOT, "tests/fixtures/failing-"));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  const file = join(folder, "failing.test.ts");
  writeFileSync(file, FAILING);
  const first = run(["npm", "run", "test:only", "--", relative(ROOT, file)].join(" "));
  const commands = [...first.matchAll(/Repeat it: (SEED=.*)$/gm)].map((match) => match[1]!);
  expect(first).toContain("Counterexample: [1000]");
  expect(commands[0]).toMatch(
    /^SEED=-?\d+ SEED_PATH=[\d:]+ npm run test:only -- tests\/fixtures\/failing-/,
  );
  const again = run(commands[0]!);
  expect(again).toContain("Counterexample: [1000]");
  expect(again).toMatch(/failed after 1 tests/);
}, 300_000);

function run(command: string): string {
  const { stdout, stderr } = spawnSync("sh", ["-c", command], { cwd: ROOT, encoding: "utf8" });
  // eslint-disable-next-line no-control-regex -- vitest colours what it prints
  return `${stdout}${stderr}`.replace(/\u001b\[[\d;]*m/g, "");
}
