// The command as a person or the daemon starts it: a process of its own, looking at its sky.
import { execFileSync, spawn, type ChildProcess } from "node:child_process";
import { mkdtempSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { createServer, type AddressInfo } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterEach, describe, expect, test } from "vitest";
import { hasTool } from "../../support/outsideTool.ts";
import { RawHost, u16, u32 } from "../../support/rawHost.ts";

const MAIN = fileURLToPath(new URL("../../../controller/virtual-camera/main.ts", import.meta.url));
const START_MS = 60_000;
const children: ChildProcess[] = [];
const folders: string[] = [];
afterEach(() => {
  for (const child of children.splice(0)) child.kill("SIGKILL");
  for (const folder of folders.splice(0)) rmSync(folder, { recursive: true, force: true });
});

type Started = {
  readonly child: ChildProcess;
  readonly port: number;
  readonly cardParent: string;
  readonly ended: Promise<number | null>;
};

function launch(args: readonly string[]): ChildProcess {
  const child = spawn(process.execPath, ["--import", "tsx", MAIN, ...args]);
  children.push(child);
  return child;
}

function ending(child: ChildProcess): Promise<number | null> {
  return new Promise((resolve) => child.once("exit", resolve));
}

async function start(...args: readonly string[]): Promise<Started> {
  const cardParent = mkdtempSync(join(tmpdir(), "nattvakt-test-"));
  folders.push(cardParent);
  const child = launch(["--port", "0", "--card-dir", cardParent, "--width-px", "384", ...args]);
  const line = await new Promise<string>((resolve, reject) => {
    setTimeout(() => reject(new Error("it said nothing")), START_MS).unref();
    child.stdout!.once("data", (bytes: Buffer) => resolve(String(bytes)));
    child.once("exit", (code) => reject(new Error(`it ended with ${code}`)));
  });
  const { listening } = JSON.parse(line) as { listening: { host: string; port: number } };
  expect(line.trim().split("\n")).toHaveLength(1);
  expect(listening.host).toBe("127.0.0.1");
  return { child, port: listening.port, cardParent, ended: ending(child) };
}

/** Everything that a run says, and its exit code. */
async function run(...args: readonly string[]) {
  const child = launch(args);
  let [out, err] = ["", ""];
  child.stdout!.on("data", (bytes: Buffer) => (out += String(bytes)));
  child.stderr!.on("data", (bytes: Buffer) => (err += String(bytes)));
  return { code: await ending(child), out, err };
}

describe("the command", () => {
  test("explains itself", async () => {
    const { code, out } = await run("--help");
    expect(code).toBe(0);
    for (const option of ["--rate", "--card-full-at-frame", "--no-bulb", "--origin-json"]) {
      expect(out).toContain(option);
    }
  });

  test("called wrongly says what to mend in one line and ends with 2", async () => {
    const { code, err } = await run("--port", "0", "--scenario", "sunny");
    expect(code).toBe(2);
    expect(err).toContain("--scenario must be one of");
    expect(err.trim().split("\n")).toHaveLength(1);
  });

  test("on a taken port it says so in one line, ends with 1 and leaves nothing behind", async () => {
    const taken = createServer().listen(0, "127.0.0.1");
    await new Promise((resolve) => taken.once("listening", resolve));
    const { port } = taken.address() as AddressInfo;
    const cardParent = mkdtempSync(join(tmpdir(), "nattvakt-test-"));
    folders.push(cardParent);
    const { code, err } = await run("--port", String(port), "--card-dir", cardParent);
    taken.close();
    expect(code).toBe(1);
    expect(err.trim()).toBe(`error: port ${port} is taken; choose another with --port`);
    expect(readdirSync(cardParent)).toEqual([]);
  });
});

describe("the process", () => {
  test("ends by itself when standard input closes, and takes its card with it", async () => {
    const { child, cardParent, ended } = await start("--exit-with-parent");
    expect(readdirSync(cardParent)).toHaveLength(1);
    child.stdin!.end();
    expect(await ended).toBe(0);
    expect(readdirSync(cardParent)).toEqual([]);
  });

  test("takes a frame of its sky whose Exif is the exposure that happened", async () => {
    const { child, port, cardParent, ended } = await start(
      ...["--rate", "20", "--start-utc", "2026-10-03T20:00:00Z", "--utc-offset-minutes", "180"],
    );
    const host = await RawHost.connectWithSession(port);
    await host.ask(0x1016, [0x500f], { data: u16(6400) });
    await host.ask(0x1016, [0x5007], { data: u16(400) });
    await host.ask(0x1016, [0x500d], { data: u32(20_000) });
    await host.ask(0x100e, [0, 0]);
    const handle = (await host.eventOf(0x4002)).parameters[0]!;
    const file = (await host.ask(0x1009, [handle])).data!;
    host.close();
    child.kill("SIGTERM");
    expect(await ended).toBe(0);
    expect(readdirSync(cardParent)).toEqual([]);
    if (!hasTool("exiftool", "the virtual camera's Exif is not checked from outside")) return;
    const path = join(cardParent, "frame.jpg");
    writeFileSync(path, file);
    const output = execFileSync("exiftool", ["-j", "-n", "-validate", "-all", path]);
    const [tags] = JSON.parse(String(output)) as [Record<string, unknown>];
    expect(tags).toMatchObject({
      ...{ Validate: "0 0 0", ExposureTime: 2, ISO: 6400, FNumber: 4, FocalLength: 16 },
      ...{ ImageWidth: 384, ImageHeight: 256, OffsetTimeOriginal: "+03:00" },
    });
    // Twenty minutes of night are a minute of starting up.
    expect(tags["SubSecDateTimeOriginal"]).toMatch(/^2026:10:03 23:[01]\d:\d\d\.\d+\+03:00$/);
  });
});
