import { mkdirSync, mkdtempSync, readdirSync, rmSync, symlinkSync, writeFileSync } from "node:fs";
import { createServer, type Server } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterEach, beforeEach, describe, expect, it } from "vitest";
import { Catalogue } from "../../controller/archive/catalogue.ts";
import { createNightFolder } from "../../controller/archive/nightFolder.ts";
import { SqliteFile } from "../../controller/archive/sqliteFile.ts";
import { parseCommandLine } from "../../controller/commandLine.ts";
import { checkStart } from "../../controller/commands/checkStart.ts";
import { START_COMMAND } from "../../controller/config.ts";
import { DEMO_NIGHT } from "../../controller/daemon/demoNight.ts";
import { asNightError, type NightError } from "../../core/errors.ts";
import { startProgram, type Program } from "../support/program.ts";

const WRONG_CALLS: readonly (readonly [what: string, args: readonly string[], line: RegExp])[] = [
  ["an option that does not exist", ["--cammera", "usb"], /--cammera.*--camera/],
  ["a rate of 0", ["--rate", "0"], /--rate/],
  ["a camera of another kind", ["--camera", "ftp:host"], /--camera takes usb/],
  ["a port that is none", ["--camera", "ip:host:99999"], /--camera takes/],
  ["latitude 91", ["--lat", "91", "--lon", "0"], /--lat/],
  ["a latitude without a longitude", ["--lat", "68"], /--lat and --lon/],
  ["a Kp feed that is no address", ["--kp-feed", "ftp://kp"], /http or https.*ftp:/],
  ["dusk at no place", ["--camera", "usb", "--from-dusk"], /--from-dusk needs/],
  [
    "a folder of frames that is not there",
    ["--camera", "usb", "--frames-folder", "/no/such"],
    /\/no\/such/,
  ],
  [
    "a release of another kind",
    ["--camera", "usb", "--release", "thread:12"],
    /--release takes serial/,
  ],
  [
    "a relay that no profile knows",
    ["--camera", "usb", "--release", "hid:1234:5678"],
    /no profile knows the relay/,
  ],
  ["no program for alarms", ["--alarm-command", "/no/such"], /is no program that can be run/],
  ["no address for alarms", ["--alarm-webhook", "ftp://x"], /takes an http or https address/],
  ["a release without frames", ["--release", "serial:/dev/x"], /--release needs --frames-folder/],
];

/** What a person may do wrong, or meet, at the start: one clear sentence each, never a stack trace. */
describe("starting with something wrong", () => {
  let folder: string;
  const programs: Program[] = [];

  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), "nattvakt-bad-"));
  });

  afterEach(() => {
    for (const program of programs.splice(0)) program.child.kill("SIGKILL");
    rmSync(folder, { recursive: true, force: true });
  });

  function run(file: string, ...args: readonly string[]): Program {
    const program = startProgram(file, args);
    programs.push(program);
    return program;
  }

  function errorLines(program: Program): string[] {
    return program
      .printed()
      .split("\n")
      .filter((line) => line !== "" && !/^The page( is being built|:)/.test(line));
  }

  it.each(WRONG_CALLS)(
    "%s is a wrong call, in one sentence that says what to mend",
    async (...row) => {
      const [, args, line] = row;
      const error = await refusalOf([...args, "--data", folder]);
      expect(error.recovery).toBe("usage");
      expect(error.message).toMatch(line);
    },
  );

  // One that the command line itself refuses, and one that is refused by what it names.
  it.each([WRONG_CALLS[0]!, WRONG_CALLS[10]!])(
    "%s ends with 2 and that one line",
    async (...row) => {
      const [, args, line] = row;
      const program = run("controller/main.ts", ...args, "--data", folder);
      expect(await program.ended).toBe(2);
      expect(errorLines(program)).toHaveLength(1);
      expect(program.printed()).toMatch(line);
    },
  );

  it("a wrong profile of one's own ends with 1 and one line with file, pointer and reason", async () => {
    const profiles = join(folder, "profiles", "cameras");
    mkdirSync(profiles, { recursive: true });
    const match = [{ usbVendorId: "0x1234" }];
    const profile = { id: "mine", label: "Mine", extends: "standard", match };
    const shutter = { timedBelowSeconds: "two" };
    writeFileSync(join(profiles, "mine.json"), JSON.stringify({ ...profile, shutter }));
    const program = run("controller/main.ts", "--camera", "usb", "--data", folder);
    expect(await program.ended).toBe(1);
    expect(errorLines(program)).toEqual([
      expect.stringMatching(/mine\.json at \/shutter\/timedBelowSeconds is wrong: .*number.*"two"/),
    ]);
    expect(readdirSync(folder)).toEqual(["profiles"]);
  });

  it("a port that is taken ends with 1 and one line", async () => {
    const taken = await new Promise<Server>((resolve) => {
      const server = createServer().listen(0, "127.0.0.1", () => resolve(server));
    });
    const { port } = taken.address() as { port: number };
    const program = run("controller/main.ts", "--port", String(port), "--data", folder);
    expect(await program.ended).toBe(1);
    taken.close();
    expect(errorLines(program)).toHaveLength(1);
    expect(program.printed()).toContain(String(port));
    expect(readdirSync(folder)).toEqual([]);
  });

  it("a data folder that another Nattvakt uses ends with 1 and one line, on a free port too", async () => {
    const first = run("controller/main.ts", "--no-demo", "--port", "0", "--data", folder);
    await first.prints(/The page:/);
    const second = run("controller/main.ts", "--port", "0", "--data", folder);
    expect(await second.ended).toBe(1);
    expect(errorLines(second)).toHaveLength(1);
    expect(second.printed()).toMatch(/Nattvakt runs already on .*npm run stop/);
    first.child.kill("SIGINT");
    expect(await first.ended).toBe(0);
  });

  it("a data folder that cannot be written ends with 1 and one line", async () => {
    const file = join(folder, "a-file");
    writeFileSync(file, "not a folder");
    const program = run("controller/main.ts", "--port", "0", "--data", file);
    expect(await program.ended).toBe(1);
    expect(errorLines(program)).toHaveLength(1);
    expect(program.printed()).not.toMatch(/\n\s+at /);
  });

  it("a data folder on a disk that is not plugged in ends with 1 and one line that names it", async () => {
    const data = join(folder, "nights");
    symlinkSync(join(folder, "not", "plugged", "in"), data);
    const program = run("controller/main.ts", "--port", "0", "--data", data);
    expect(await program.ended).toBe(1);
    expect(errorLines(program)).toEqual([
      `error: ${data} cannot be made; choose a data folder that this user may write to.`,
    ]);
  });

  it("an unreachable camera is reported in one sentence, and tried again", async () => {
    const program = run(
      "controller/main.ts",
      ...["--camera", "ip:127.0.0.1:1", "--port", "0", "--data", folder],
    );
    await program.prints(/No camera answers at 127\.0\.0\.1:1/);
    program.child.kill("SIGINT");
    expect(await program.ended).toBe(0);
    expect(program.printed()).not.toMatch(/\n\s+at /);
  });

  it("a camera that is not in manual is reported in one sentence, and no frame is taken", async () => {
    const virtual = run(
      "controller/virtual-camera/main.ts",
      ...["--port", "0", "--program-mode", "automatic"],
    );
    const [, port] = await virtual.prints(/"port":(\d+)/);
    const program = run(
      "controller/main.ts",
      ...["--camera", `ip:127.0.0.1:${port}`, "--port", "0", "--data", folder],
    );
    await program.prints(/not in manual/);
    program.child.kill("SIGINT");
    expect(await program.ended).toBe(0);
    expect(program.printed()).not.toMatch(/#0000/);
  });

  it("a night from a newer version is refused in one sentence and left as it is", async () => {
    const nightDir = createNightFolder(folder, DEMO_NIGHT);
    Catalogue.create(nightDir, DEMO_NIGHT).close();
    const path = join(nightDir, "catalogue.sqlite");
    const database = SqliteFile.open(path, "write");
    database.setPragma("user_version", 999);
    database.close();
    const program = run("controller/commands/replay.ts", nightDir);
    expect(await program.ended).toBe(1);
    expect(errorLines(program)).toHaveLength(1);
    expect(program.printed()).toMatch(/newer/);
    const after = SqliteFile.open(path, "read");
    expect(after.pragma("user_version")).toBe(999);
    after.close();
  });
});

/** What a start with these words is refused with, before anything is begun. */
async function refusalOf(args: readonly string[]): Promise<NightError> {
  try {
    const line = parseCommandLine(START_COMMAND, args);
    if (line.kind === "run") await checkStart(line.options);
  } catch (thrown) {
    return asNightError(thrown);
  }
  throw new Error("it was not refused");
}
