import { writeFileSync } from "node:fs";
import { join } from "node:path";
import { expect, it } from "vitest";
import { holdDataFolder } from "../../../controller/archive/holdDataFolder.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

it("keeps a second one out until the first lets go", () => {
  const folder = temporaryFolder();
  const letGo = holdDataFolder(folder);
  expect(() => holdDataFolder(folder)).toThrow(/Another Nattvakt keeps its nights in .*--data/);
  letGo();
  holdDataFolder(folder)();
});

it("makes the folder where there is none, and says so where it cannot", () => {
  const folder = temporaryFolder();
  holdDataFolder(join(folder, "new"))();
  writeFileSync(join(folder, "a-file"), "not a folder");
  expect(() => holdDataFolder(join(folder, "a-file"))).toThrow(/cannot be written/);
});
