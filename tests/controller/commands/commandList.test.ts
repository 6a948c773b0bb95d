import { readFileSync } from "node:fs";
import { join } from "node:path";
import { expect, it } from "vitest";
import { COMMANDS } from "../../../controller/commands/commandList.ts";
import { OWN_DIR } from "../../../controller/ownFiles.ts";

it("the installed program has every command that a clone has", () => {
  const { scripts } = JSON.parse(readFileSync(join(OWN_DIR, "package.json"), "utf8")) as {
    scripts: Record<string, string>;
  };
  const inClone = Object.entries(scripts)
    .filter(([, line]) => /controller\/(commands|virtual-camera)\//.test(line))
    .map(([name]) => name);
  expect(inClone.length).toBeGreaterThan(5);
  expect(Object.keys(COMMANDS).sort()).toEqual(inClone.sort());
});
