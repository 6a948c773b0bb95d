import { spawn } from "node:child_process";
import { readFileSync } from "node:fs";
import { createServer } from "node:http";
import type { AddressInfo } from "node:net";
import { join } from "node:path";
import { describe, expect, it, onTestFinished } from "vitest";

import { parseCommandLine } from "../../../controller/commandLine.ts";
import { PLAN_COMMAND } from "../../../controller/planning/planCommand.ts";
import type { NightPlan } from "../../../core/plan/plan.ts";
import { checksumOf } from "../../../core/sensors/nmea.ts";
import { openPseudoTerminal } from "../../support/pseudoTerminal.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const COMMAND = new URL("../../../controller/commands/plan.ts", import.meta.url).pathname;
const ROOT = new URL("../../../", import.meta.url).pathname;

type Run = { readonly code: number | null; readonly out: string; readonly error: string };

function run(args: readonly string[], data = temporaryFolder()): Promise<Run> {
  return new Promise((resolve) => {
    const child = spawn(process.execPath, ["--import", "tsx", COMMAND, "--data", data, ...args], {
      cwd: ROOT,
      env: { ...process.env, TZ: "UTC" },
    });
    let [out, error] = ["", ""];
    child.stdout.on("data", (part) => (out += part));
    child.stderr.on("data", (part) => (error += part));
    child.on("close", (code) => resolve({ code, out, error }));
  });
}

const HUT = ["--lat", "68.9", "--lon", "27", "--date", "2026-11-10"];

describe("the plan command", () => {
  it("prints a screenful for a person, and writes the calendar beside it", async () => {
    const folder = temporaryFolder();
    const file = join(folder, "night.ics");
    const args = [...HUT, "--place", "Hut Seven", "--zone", "Europe/Helsinki", "--ics", file];
    const { code, out, error } = await run([...args, "--remember-place"], folder);
    expect([code, error]).toEqual([0, ""]);
    expect(out.split("\n").length).toBeLessThan(50);
    for (const line of out.split("\n")) expect(line.length).toBeLessThanOrEqual(100);
    expect(out).toContain("Hut Seven (68.900° N, 27.000° E); times in Europe/Helsinki");
    expect(out).toMatch(/Watch +17:0\d to 06:4\d/);
    expect(readFileSync(file, "utf8")).toContain("BEGIN:VEVENT\r\n");
    const again = await run(["--place", "Hut Seven", "--date", "2026-11-10"], folder);
    expect(again.out).toContain("68.900° N");
  });

  it("prints the contract's fields as JSON", async () => {
    const { code, out } = await run([...HUT, "--json"]);
    expect(code).toBe(0);
    const plan = JSON.parse(out) as NightPlan;
    expect(plan).toMatchObject({ latitudeDeg: 68.9, longitudeDeg: 27, date: "2026-11-10" });
    expect(plan).toMatchObject({ darkness: "window", nauticalDarkness: "window", facing: "north" });
    for (const field of [
      "sunset",
      "sunrise",
      "darkStart",
      "darkEnd",
      "nauticalDarkStart",
      "nauticalDarkEnd",
    ] as const) {
      expect(plan[field]).toMatch(/^2026-11-1[01]T\d\d:\d\d:\d\dZ$/);
    }
    expect(plan.maxExposureSeconds).toBeGreaterThan(0);
    expect(plan.geomagneticLatitudeDeg).toBeCloseTo(66.1, 1);
    expect(Object.keys(plan.samples[0]!)).toEqual(
      expect.arrayContaining([
        "time",
        "sunAltitudeDeg",
        "sunAzimuthDeg",
        "moonAltitudeDeg",
        "moonAzimuthDeg",
        "skyMagArcsec2",
      ]),
    );
  });

  it("uses a Kp feed that answers and goes on at once without one that hangs", async () => {
    const server = createServer((request, response) => {
      if (request.url !== "/hangs") response.end(`[{"time_tag":"2020-01-01T00:00:00Z","Kp":4}]`);
    });
    await new Promise<void>((resolve) => server.listen(0, "127.0.0.1", resolve));
    onTestFinished(() => {
      server.closeAllConnections();
      server.close();
    });
    const base = `http://127.0.0.1:${(server.address() as AddressInfo).port}`;
    const folder = temporaryFolder();
    const hanging = await run([...HUT, "--json", "--kp-feed", `${base}/hangs`]);
    expect(hanging.code).toBe(0);
    expect(JSON.parse(hanging.out)).toMatchObject({ kpFeed: { kind: "waiting" } });
    // Whether the first run catches the answer depends on the machine; the value is never invented.
    const answered = await run([...HUT, "--json", "--kp-feed", `${base}/kp`], folder);
    const { kpFeed } = JSON.parse(answered.out) as { kpFeed: { kind: string; kp: number | null } };
    expect([null, 4]).toContain(kpFeed.kp);
    expect(["waiting", "stale"]).toContain(kpFeed.kind);
  });

  it("takes the place that a GNSS receiver tells, with its height", async () => {
    const { path, write } = await openPseudoTerminal();
    const sentence = (body: string): string =>
      `$${body}*${checksumOf(body).toString(16).padStart(2, "0")}\n`;
    const speaking = setInterval(() => {
      write(sentence("GNGGA,180000.00,6400.000,N,02000.000,E,1,09,1.0,120.0,M,,M,,"));
    }, 100);
    onTestFinished(() => clearInterval(speaking));
    const { code, out } = await run(["--gnss", path, "--date", "2026-11-10", "--json"]);
    expect(code).toBe(0);
    expect(JSON.parse(out)).toMatchObject({ latitudeDeg: 64, longitudeDeg: 20, elevationM: 120 });
  });

  it.each([
    [["--lat", "91", "--lon", "0"], "--lat must be at least -90 and at most 90, not 91"],
    [[...HUT, "--focal-length-mm", "0"], "--focal-length-mm must be at least 1"],
    [[...HUT, "--place", ""], "--place must not be empty"],
    [[...HUT, "--rehearse", "wild"], "--rehearse must be one of quiet, moderate, storm"],
  ])("refuses %j", (args, sentence) => {
    expect(() => parseCommandLine(PLAN_COMMAND, args)).toThrow(sentence);
  });

  it.each([
    [[...HUT.slice(0, 4), "--date", "2026-02-31"], "There is no 2026-02-31 in the calendar."],
    [[...HUT, "--gnss", "/dev/none"], "--gnss gives the place"],
    [["--place", "Nowhere"], 'no place called "Nowhere" is remembered'],
    [["--date", "2026-11-10"], "--lat and --lon are needed"],
  ])("refuses %j with one line and exit code 2", async (args, sentence) => {
    const { code, out, error } = await run(args);
    expect([code, out]).toEqual([2, ""]);
    expect(error.trim().split("\n")).toHaveLength(1);
    expect(error).toContain(sentence);
  });
});
