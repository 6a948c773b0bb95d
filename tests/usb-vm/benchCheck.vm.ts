// The bench check as its user runs it, on a virtual camera on this kernel's bus.
import { readFileSync } from "node:fs";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { startProgram } from "../support/program.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";
import { Bus } from "./bus.ts";

/** Nine bulb exposures, and the program's loading in an emulated processor. */
const CHECK_MS = 400_000;

let bus: Bus;
beforeAll(async () => {
  bus = await Bus.start();
});
afterAll(async () => await bus.stop());

describe("a bench check over USB", () => {
  it(
    "proves settings, bulb, latency, previews and events, and writes the camera's own profile",
    async () => {
      await bus.plugVirtualAndGreet("BENCH001");
      const data = temporaryFolder();
      const check = startProgram("controller/commands/benchCheck.ts", [
        ...["--camera", "usb:BENCH001", "--data", data],
      ]);
      expect(await check.ended, check.printed()).toBe(0);
      const printed = check.printed();
      expect(printed).toMatch(/^ISO\s.*3 of 3 read back as set$/m);
      for (const row of ["bulb 5 s", "again 5 s", "opening", "closing", "dead time", "preview"]) {
        expect(printed).toMatch(new RegExp(`^${row}\\s.*\\d`, "m"));
      }
      expect(printed).toMatch(/^events\s.*ObjectAdded/m);
      const [, file] = /^Written: (.+)$/m.exec(printed)!;
      expect(JSON.parse(readFileSync(file!, "utf8"))).toMatchObject({ extends: "standard" });
    },
    CHECK_MS,
  );
});
