import { spawnSync } from "node:child_process";
import { writeFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { unitFile } from "../../../controller/service/unitFile.ts";
import { hasTool } from "../../support/hasTool.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const ORDER = {
  command: [process.execPath, "/opt/nattvakt/main.js", "--camera=usb", '--name=Lake 100% "$x" \\'],
  exposureSecondsMax: 30.5,
};
const canAnalyse = hasTool("systemd-analyze", "the service's unit is not read by systemd itself");

describe("the service's unit", () => {
  it("gives the frame in hand and its readout time to end, and its watchdog as long", () => {
    const unit = unitFile(ORDER, { isWalledOff: true });
    expect(unit).toContain("\nTimeoutStopSec=151\n");
    expect(unit).toContain("\nWatchdogSec=151\n");
    expect(unit).toContain("\nKillMode=mixed\n");
    expect(unit).toContain("\nRestart=on-failure\n");
  });

  it("takes every word as it is, whatever is in it", () => {
    expect(unitFile(ORDER, { isWalledOff: true })).toContain(
      `"/opt/nattvakt/main.js" "--camera=usb" "--name=Lake 100%% \\"$$x\\" \\\\"\n`,
    );
  });

  // Namespaces are what keeps it at 5.0 at most; without them it is held where it is.
  it.runIf(canAnalyse).each([
    { isWalledOff: true, exposureMax: 5.0 },
    { isWalledOff: false, exposureMax: 7.0 },
  ])("is one that systemd reads without complaint: %o", ({ isWalledOff, exposureMax }) => {
    const folder = temporaryFolder();
    const file = join(folder, "nattvakt.service");
    writeFileSync(file, unitFile(ORDER, { isWalledOff }));
    const env = { ...process.env, XDG_RUNTIME_DIR: folder };
    const analyse = (...args: readonly string[]) =>
      spawnSync("systemd-analyze", [...args, file], { encoding: "utf8", env });
    const verified = analyse("verify", "--user", "--man=no");
    expect([verified.status, verified.stdout + verified.stderr]).toEqual([0, ""]);
    const threshold = `--threshold=${Math.round(exposureMax * 10)}`;
    const secured = analyse("security", "--offline=true", "--no-pager", threshold);
    expect(secured.status, secured.stdout).toBe(0);
  });
});
