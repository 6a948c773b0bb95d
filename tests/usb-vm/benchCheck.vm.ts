// The bench check as its user runs it, on a virtual camera on this kernel's bus.
import { existsSync, readFileSync } from "node:fs";
import { join } from "node:path";
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
  // First, while QEMU's own is the only camera on the bus: it shows files and can expose nothing.
  it(
    "says of a device that takes no pictures what to do, exits 1 and writes no profile",
    async () => {
      const data = temporaryFolder();
      const check = startProgram("controller/commands/benchCheck.ts", [
        ...["--camera", "usb", "--data", data],
      ]);
      expect(await check.ended, check.printed()).toBe(1);
      const printed = check.printed();
      expect(printed).toMatch(
        /^verdict +Not without a release contact: this device takes no pictures over its cable\.$/m,
      );
      expect(printed).toMatch(/^next +Connect a release contact and name it with --release, or /m);
      expect(printed).toMatch(/^events +nothing was exposed, so none was due$/m);
      expect(printed).not.toMatch(/Written:|\bptp\.|0x[0-9a-f]{4}/);
      expect(existsSync(join(data, "profiles"))).toBe(false);
    },
    CHECK_MS,
  );

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
