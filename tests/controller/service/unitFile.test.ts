import { spawnSync } from "node:child_process";
import { writeFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { unitFile, WALLS } from "../../../controller/service/unitFile.ts";
import { hasTool } from "../../support/outsideTool.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

// Node itself may lie among the common temporary files, and with that change what is looked at here.
const ORDER = {
  command: ["/bin/sh", "/opt/nattvakt/main.js", "--camera=usb", '--name=Lake 100% "$x" \\'],
  exposureSecondsMax: 30.5,
};
const canAnalyse = hasTool("systemd-analyze", "the service's unit is not read by systemd itself");

describe("the service's unit", () => {
  it("gives the frame in hand and its readout time to end, and its watchdog as long", () => {
    const unit = unitFile(ORDER, { walls: "all" });
    expect(unit).toContain("\nTimeoutStopSec=182\n");
    expect(unit).toContain("\nWatchdogSec=151\n");
    expect(unit).toContain("\nKillMode=mixed\n");
    expect(unit).toContain("\nRestart=on-failure\n");
  });

  it("has the largest weight beside the user's other programs that there is", () => {
    for (const walls of WALLS) {
      expect(unitFile(ORDER, { walls })).toContain("\nCPUWeight=10000\n");
    }
  });

  it("takes every word as it is, whatever is in it", () => {
    expect(unitFile(ORDER, { walls: "all" })).toContain(
      `"/opt/nattvakt/main.js" "--camera=usb" "--name=Lake 100%% \\"$$x\\" \\\\"\n`,
    );
  });

  it("has temporary files of its own, unless what it needs lies among the common ones", () => {
    const privateTmp = (...command: readonly string[]) =>
      unitFile({ ...ORDER, command }, { walls: "all" }).includes("\nPrivateTmp=yes\n");
    expect(privateTmp("/usr/bin/node", "file:///home/ada/tmp/x.js", "--data=/home/ada")).toBe(true);
    for (const word of ["/tmp/x.js", "file:///tmp/x.js", "--data=/var/tmp/nights", "--data=/tmp"]) {
      expect(privateTmp("/usr/bin/node", word), word).toBe(false);
    }
  });

  it("leaves USB, serial lines and HID relays, the network and real-time scheduling possible", () => {
    for (const walls of WALLS) {
      const unit = unitFile(ORDER, { walls });
      expect(unit).not.toMatch(/^(PrivateDevices|DevicePolicy|DeviceAllow|ProtectClock)=/m);
      expect(unit).not.toMatch(/^(PrivateNetwork|IPAddressDeny|RestrictRealtime)=/m);
      // libusb hears of cables by netlink; the service's own words go over a local socket.
      expect(unit).toMatch(/^RestrictAddressFamilies=.*AF_UNIX.*AF_NETLINK$/m);
    }
  });

  // The scale counts every unit of a user as one of root: 3 of the last two figures are for
  // capabilities that the user does not have, and NoNewPrivileges keeps from it.
  it.runIf(canAnalyse).each([
    { walls: "all", exposureMax: 3.0 },
    { walls: "granted", exposureMax: 5.8 },
    { walls: "none", exposureMax: 6.7 },
  ] as const)("is one that systemd reads without complaint: %o", ({ walls, exposureMax }) => {
    const folder = temporaryFolder();
    const file = join(folder, "nattvakt.service");
    writeFileSync(file, unitFile(ORDER, { walls }));
    const env = { ...process.env, XDG_RUNTIME_DIR: folder };
    const analyse = (...args: readonly string[]) =>
      spawnSync("systemd-analyze", [...args, file], { encoding: "utf8", env });
    const verified = analyse("verify", "--user", "--man=no");
    expect([verified.status, verified.stdout + verified.stderr]).toEqual([0, ""]);
    const secured = analyse("security", "--offline=true", "--no-pager");
    const [, exposure] = /Overall exposure level for \S+: ([\d.]+)/.exec(secured.stdout) ?? [];
    expect(Number(exposure), secured.stdout).toBeLessThanOrEqual(exposureMax);
  });
});
