import { readdirSync } from "node:fs";
import { expect, it } from "vitest";
import { startCommand } from "../../support/program.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

it.each([
  ["the demo", ["install"], /the demo is no service; name a camera with --camera/],
  ["nothing to do", [], /install\|remove\|status/],
  ["something else to do", ["instal"], /"instal" is none of install, remove and status/],
  [
    "a new night at every start",
    ["install", "--camera", "usb", "--new-night"],
    /--new-night is for one start/,
  ],
  ["half a place", ["install", "--camera", "usb", "--lat", "68"], /--lat and --lon go together/],
])("refuses %s with 2 and one line, and writes nothing", async (_what, args, line) => {
  const folder = temporaryFolder();
  const program = startCommand(
    process.execPath,
    ["--import", "tsx", "controller/commands/service.ts", ...args],
    { cwd: process.cwd(), env: { ...process.env, HOME: folder, XDG_CONFIG_HOME: folder } },
  );
  expect(await program.ended).toBe(2);
  expect(program.printed()).toMatch(line);
  expect(program.printed().trim().split("\n")).toHaveLength(1);
  expect(readdirSync(folder)).toEqual([]);
});
