import { spawnSync } from "node:child_process";
import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, beforeAll, describe, expect, it, vi } from "vitest";
import { Catalogue } from "../../controller/archive/catalogue.ts";
import { unitFile } from "../../controller/service/unitFile.ts";
import type { DaemonView } from "../../core/api/messages.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { startProgram, type Program } from "../support/program.ts";
import { UserManager } from "../support/userManager.ts";
import { buildPageIfStale } from "../../controller/pageBuild.ts";

const UNIT = "nattvakt.service";
const LONG_MS = 600_000;
const PATIENCE = { timeout: 240_000, interval: 500 };
/** The manager writes down how each life of a unit ended. Source: systemd.exec(5), SERVICE_RESULT. */
const HEARD_OUT = `ExecStopPost=/bin/sh -c 'echo "$SERVICE_RESULT" >> /run/home/ends'\n`;
/** The made-up user's home, as this process sees it; the user finds it under `/run/home`. */
const home = mkdtempSync(join(tmpdir(), "nattvakt-home-"));
const units = join(home, ".config", "systemd", "user");
mkdirSync(join(units, `${UNIT}.d`), { recursive: true });
// Less patience than a real night has.
writeFileSync(
  join(units, `${UNIT}.d`, "test.conf"),
  `[Service]\n${HEARD_OUT}WatchdogSec=40\nTimeoutStartSec=400\n`,
);
const manager = await UserManager.start(home).catch((why: Error) => {
  process.stderr.write(
    `\nSKIPPED: no systemd user manager can be had here (${why.message}); the service is not killed under a real one\n`,
  );
  rmSync(home, { recursive: true, force: true });
  return null;
});

/** A whole life as the service of an ordinary user: installed, killed, stopped, hung, finished, removed. */
describe.skipIf(manager === null)("the service under a real user manager", () => {
  const user = manager!;
  let virtual: Program;
  let camera: string;

  beforeAll(async () => {
    await buildPageIfStale();
    virtual = startProgram("controller/virtual-camera/main.ts", [
      ...["--port", "0", "--width-px", "240"],
    ]);
    const [, port] = await virtual.prints(/"port":(\d+)/);
    camera = `ip:127.0.0.1:${port}`;
  }, 300_000);

  afterAll(async () => {
    virtual?.child.kill("SIGKILL");
    await user.stop();
    rmSync(home, { recursive: true, force: true });
  }, 60_000);

  const install = (...more: readonly string[]) =>
    user.program(
      "controller/commands/service.ts",
      ...["install", "--camera", camera, "--lat", "50", "--lon", String(noonLongitudeDeg())],
      ...["--port", "0", "--data", "/run/home/data", "--max-exposure-seconds", "3", ...more],
    );
  const service = (what: "status" | "remove") =>
    user.program("controller/commands/service.ts", what);

  it(
    "is installed as an ordinary user, who hears what is lacking",
    async () => {
      const { code, printed } = await install();
      expect(printed).toMatch(
        /^The service runs, and starts with this computer; .*nattvakt\.service\.$/m,
      );
      expect(printed).toMatch(/^It ends when you log out, .*`sudo loginctl enable-linger ada`/m);
      expect(printed).toMatch(/echo 'ada - rtprio 1' \| sudo tee .*limits\.d/);
      expect(code).toBe(0);
      await hasKept(2);
      const status = await service("status");
      expect(status.printed).toMatch(/^The service is active \(running\)\.$/m);
      expect(status.printed).toMatch(/^None of its threads has real-time scheduling .*rtprio 1/m);
    },
    LONG_MS,
  );

  it(
    "says that its timing thread has real-time scheduling once it has",
    async () => {
      const pid = await mainPid();
      const timingThread = readdirSync(`/proc/${pid}/task`).at(-1)!;
      expect(spawnSync("chrt", ["--rr", "--pid", "1", timingThread]).status).toBe(0);
      const { printed } = await service("status");
      expect(printed).toMatch(/^Its timing thread has real-time scheduling\.$/m);
    },
    LONG_MS,
  );

  it(
    "is started again after a kill, and goes on with the same night",
    async () => {
      const killed = await mainPid();
      await user.run("kill", "-KILL", killed);
      await isRestarted(1);
      expect(await mainPid()).not.toBe(killed);
      await hasKept(keptCount() + 2);
      expect(nights()).toHaveLength(1);
      expect(ends()).toEqual(["signal"]);
    },
    LONG_MS,
  );

  it(
    "stays stopped when asked to end, and has lost no frame",
    async () => {
      const stopped = await user.program("controller/commands/stop.ts", "--data", "/run/home/data");
      expect(stopped.printed).toMatch(/Ended\.\n$/);
      await isAtRest();
      expect(ends()).toEqual(["signal", "success"]);
      expect(await user.show(UNIT, "NRestarts")).toEqual({ NRestarts: "1" });
      expect(unkeptFrames()).toEqual([]);
    },
    LONG_MS,
  );

  it(
    "ends the frame in hand before it is stopped by its manager",
    async () => {
      await user.run("systemctl", "--user", "start", UNIT);
      const before = phases().length;
      await vi.waitFor(() => expect(phases().slice(before).at(-1)).toBe("exposing"), PATIENCE);
      const { code, printed } = await user.run("systemctl", "--user", "stop", UNIT);
      expect(code, printed).toBe(0);
      expect(phases().at(-1)).toBe("finished");
      expect(ends().at(-1)).toBe("success");
      expect(unkeptFrames()).toEqual([]);
      expect(nights()).toHaveLength(1);
    },
    LONG_MS,
  );

  it(
    "is ended by its watchdog when it hangs, and goes on with the same night",
    async () => {
      await user.run("systemctl", "--user", "start", UNIT);
      const kept = keptCount();
      await hasKept(kept + 1);
      await user.run("kill", "-STOP", await mainPid());
      await isRestarted(1);
      expect(ends().at(-1)).toBe("watchdog");
      await hasKept(keptCount() + 1);
      expect(nights()).toHaveLength(1);
    },
    LONG_MS,
  );

  it(
    "leaves a night over that was stopped by hand, though it is killed after that",
    async () => {
      await say("stop");
      await vi.waitFor(() => expect(phases().at(-1)).toBe("finished"), PATIENCE);
      const kept = keptCount();
      await user.run("kill", "-KILL", await mainPid());
      await isRestarted(2);
      await vi.waitFor(async () => expect(await phase()).toBe("finished"), PATIENCE);
      expect(nights()).toHaveLength(1);
      expect(keptCount()).toBe(kept);
    },
    LONG_MS,
  );

  it(
    "stays so once the frames that it was asked for are taken",
    async () => {
      const { code, printed } = await install("--frames", "2");
      expect(code, printed).toBe(0);
      await isAtRest();
      expect(ends().at(-1)).toBe("success");
      expect(await user.show(UNIT, "NRestarts")).toEqual({ NRestarts: "0" });
    },
    LONG_MS,
  );

  it(
    "is removed, and its nights are kept",
    async () => {
      const kept = keptCount();
      expect((await service("remove")).printed).toMatch(
        /ended and is removed; its nights are kept/,
      );
      expect((await service("status")).printed).toMatch(
        /^There is no service; install one first\.$/m,
      );
      expect(keptCount()).toBe(kept);
    },
    LONG_MS,
  );

  it(
    "is ended by its watchdog when only its timing thread hangs",
    async () => {
      const command = [
        ...["/run/node", "--import", "file:///run/tree/node_modules/tsx/dist/loader.mjs"],
        "/run/tree/tests/support/hangingThreadMain.ts",
      ];
      const unit = unitFile({ command, exposureSecondsMax: 1 }, { walls: "granted" });
      const file = join(units, "hanging.service");
      writeFileSync(file, unit.replace(/^WatchdogSec=.*$/m, `${HEARD_OUT}WatchdogSec=8`));
      const before = ends().length;
      await user.run("systemctl", "--user", "daemon-reload");
      const { code, printed } = await user.run("systemctl", "--user", "start", "hanging.service");
      expect(code, printed).toBe(0);
      await vi.waitFor(() => expect(ends()[before]).toBe("watchdog"), PATIENCE);
      await user.run("systemctl", "--user", "stop", "hanging.service");
    },
    LONG_MS,
  );

  async function mainPid(): Promise<string> {
    const { MainPID } = await user.show(UNIT, "MainPID");
    return MainPID!;
  }

  /** Started again so many times since somebody started it, and watching. */
  async function isRestarted(times: number): Promise<void> {
    const wanted = { NRestarts: String(times), ActiveState: "active" };
    const names = ["NRestarts", "ActiveState"];
    await vi.waitFor(async () => expect(await user.show(UNIT, ...names)).toEqual(wanted), PATIENCE);
  }

  /** A unit that its manager means to start again is never both of these. */
  async function isAtRest(): Promise<void> {
    const wanted = { ActiveState: "inactive", SubState: "dead" };
    const names = ["ActiveState", "SubState"];
    await vi.waitFor(async () => expect(await user.show(UNIT, ...names)).toEqual(wanted), PATIENCE);
  }
});

/** Where the Sun is highest now: the next dawn is far away, whenever this runs. */
function noonLongitudeDeg(): number {
  const now = new Date();
  return (12 - (now.getUTCHours() + now.getUTCMinutes() / 60)) * 15;
}

/** How each life of the units ended, in the manager's words. */
function ends(): readonly string[] {
  const file = join(home, "ends");
  return existsSync(file) ? readFileSync(file, "utf8").trim().split("\n") : [];
}

function nights(): readonly string[] {
  return readdirSync(join(home, "data", "nights")).map((name) =>
    join(home, "data", "nights", name),
  );
}

/** Frames whose file is whole, of all nights. */
function keptCount(): number {
  return nights()
    .flatMap((night) => readdirSync(join(night, "frames")))
    .filter((name) => /^\d+\.jpg$/.test(name)).length;
}

function hasKept(count: number): Promise<void> {
  return vi.waitFor(() => expect(keptCount()).toBeGreaterThanOrEqual(count), PATIENCE);
}

/** Frames whose file is not whole. */
function unkeptFrames(): readonly FrameRecord[] {
  return nights().flatMap((night) => {
    const catalogue = Catalogue.open(night, { readOnly: true });
    const frames = catalogue.frames({ fromIndex: 0, count: 1000 });
    catalogue.close();
    return frames.filter(({ status }) => status !== "kept");
  });
}

/** What the watch has gone through, oldest first, as the log has it. */
function phases(): readonly string[] {
  return readFileSync(join(home, "data", "nattvakt.log"), "utf8")
    .split("\n")
    .flatMap((line) => /"event":"watch.phase".*"to":"(\w+)"/.exec(line)?.[1] ?? []);
}

function pageAddress(): string {
  const noted = JSON.parse(readFileSync(join(home, "data", "running.json"), "utf8")) as {
    readonly address: string;
  };
  return noted.address;
}

async function say(word: string): Promise<void> {
  const answer = await fetch(`${pageAddress()}api/watches/camera-1/${word}`, { method: "POST" });
  expect(answer.ok).toBe(true);
}

async function phase(): Promise<string> {
  const view = (await (await fetch(`${pageAddress()}api/state`)).json()) as DaemonView;
  return view.watches[0]?.phase ?? "none";
}
