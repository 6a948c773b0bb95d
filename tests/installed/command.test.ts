import { execFileSync, spawnSync } from "node:child_process";
import { mkdirSync, mkdtempSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { delimiter, dirname, join } from "node:path";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { Catalogue } from "../../controller/archive/catalogue.ts";
import { COMMANDS } from "../../controller/commands/commandList.ts";
import { OWN_DIR, packageVersion } from "../../controller/ownFiles.ts";
import { startCommand } from "../support/program.ts";

const FRAMES = 10;
const INSTALL_MS_MAX = 400_000;
/** A machine that is busy with other tests may take long to start a program. */
const START_MS_MAX = 150_000;

/** What npm says where the registry cannot be reached. */
const UNREACHABLE = /ENOTFOUND|EAI_AGAIN|ECONNREFUSED|ECONNRESET|ETIMEDOUT|ERR_SOCKET_TIMEOUT/;

/** The package as it is packed, installed into an empty prefix without running any script. */
describe("an installed nattvakt", () => {
  let folder: string;
  let isInstalled = true;

  beforeAll(() => {
    folder = mkdtempSync(join(tmpdir(), "nattvakt-installed-"));
    const pack = ["pack", "--silent", "--pack-destination", folder];
    execFileSync("npm", pack, { cwd: OWN_DIR, stdio: ["ignore", "ignore", "inherit"] });
    const tarball = join(
      folder,
      readdirSync(folder).find((name) => name.endsWith(".tgz"))!,
    );
    const where = ["--global", "--prefix", join(folder, "prefix"), "--prefer-offline"];
    const quiet = ["--ignore-scripts", "--no-audit", "--no-fund"];
    const run = spawnSync("npm", ["install", ...where, ...quiet, tarball], {
      cwd: folder,
      encoding: "utf8",
    });
    if (run.status === 0) return;
    if (!UNREACHABLE.test(run.stderr)) throw new Error(run.stderr);
    isInstalled = false;
    process.stderr.write(
      "\nSKIPPED: the package registry cannot be reached; the installed command is not tried\n",
    );
  }, INSTALL_MS_MAX);

  afterAll(() => rmSync(folder, { recursive: true, force: true }));

  const modules = (): string => join(folder, "prefix", "lib", "node_modules");

  /** As from a terminal in `cwd`. */
  function nattvakt(cwd: string, ...args: readonly string[]) {
    const PATH = `${dirname(process.execPath)}${delimiter}${process.env["PATH"] ?? ""}`;
    const env = { ...process.env, PATH, XDG_DATA_HOME: join(folder, "share") };
    return startCommand(join(folder, "prefix", "bin", "nattvakt"), args, { cwd, env });
  }

  it("brings neither sources nor what builds them", ({ skip }) => {
    if (!isInstalled) skip();
    const own = join(modules(), "nattvakt");
    expect(readdirSync(own).sort()).toEqual([
      ...[
        "LICENSE",
        "README.md",
        "controller",
        "dist",
        "hardware-profiles",
        "node_modules",
        "package.json",
        "ui",
      ],
    ]);
    const files = readdirSync(join(own, "dist"), { recursive: true, encoding: "utf8" });
    expect(files.filter((name) => name.endsWith(".ts"))).toEqual([]);
    const brought = [modules(), join(own, "node_modules")].flatMap((dir) => readdirSync(dir));
    for (const name of ["tsx", "vite", "svelte", "typescript", "esbuild", "vitest"]) {
      expect(brought).not.toContain(name);
    }
  });

  it("lists its commands, and answers a word that is none with code 2", async ({ skip }) => {
    if (!isInstalled) skip();
    const help = nattvakt(folder, "--help");
    expect(await help.ended).toBe(0);
    for (const name of Object.keys(COMMANDS)) expect(help.printed()).toContain(`nattvakt ${name} `);
    const version = nattvakt(folder, "--version");
    expect(await version.ended).toBe(0);
    expect(version.printed()).toBe(`${packageVersion()}\n`);
    const wrong = nattvakt(folder, "delivr");
    expect(await wrong.ended).toBe(2);
    expect(wrong.printed()).toBe("error: there is no command delivr; did you mean deliver?\n");
    const plan = nattvakt(folder, "plan", "--help");
    expect(await plan.ended).toBe(0);
    expect(plan.printed()).toMatch(/^nattvakt plan \[options\]\n/);
  });

  it("watches ten frames, serves its page and delivers, in the platform's data folder", async ({
    skip,
  }) => {
    if (!isInstalled) skip();
    const clone = join(folder, "clone");
    mkdirSync(join(clone, "data", "nights", "2026-10-01_Lake"), { recursive: true });
    // Slower than the demo's own pace: the package is tried here, not the machine's speed.
    const pace = ["--rate", "2", "--frames", String(FRAMES)];
    const watch = nattvakt(clone, "--port", "0", ...pace);
    const other = /clone\/data holds a night, too; --data data shows that folder/;
    await watch.prints(other, START_MS_MAX);
    const [, address] = await watch.prints(/The page: (http:\S+)/, START_MS_MAX);
    await watch.prints(/#0000/, START_MS_MAX);
    const page = await fetch(address!);
    expect(page.status).toBe(200);
    const [, script] = /src="\.?(\/assets\/[^"]+\.js)"/.exec(await page.text())!;
    expect((await fetch(new URL(script!, address))).status).toBe(200);
    expect(await watch.ended, watch.printed()).toBe(0);

    const nights = join(folder, "share", "nattvakt", "demo", "nights");
    const [night] = readdirSync(nights);
    const catalogue = Catalogue.open(join(nights, night!), { readOnly: true });
    const frames = catalogue.frames({ fromIndex: 0, count: 100 });
    catalogue.close();
    // On a very busy machine a frame may be missed; ten are kept all the same.
    expect(frames.filter(({ status }) => status === "kept")).toHaveLength(FRAMES);

    const deliver = nattvakt(clone, "deliver", "last", "--video", "none", "--keogram");
    expect(await deliver.ended, deliver.printed()).toBe(0);
    expect(readdirSync(join(nights, night!, "deliver"))).toContain("keogram.png");
  }, 600_000);

  it("finds USB, HID and serial lines without any script having run", async ({ skip }) => {
    if (!isInstalled) skip();
    const contact = ["--frames-folder", folder, "--fixed-iso", "800"];
    for (const [args, sentence] of [
      [["--camera", "usb:NO-SUCH-CAMERA"], /no camera/i],
      [["--release", "hid:fffe:fffe", ...contact], /hid:fffe:fffe|relay/i],
      [["--release", "serial:/dev/no-such-line:rts", ...contact], /no-such-line/],
    ] as const) {
      const program = nattvakt(folder, ...args, "--port", "0");
      const [said] = await program.prints(sentence, START_MS_MAX);
      expect(said).toBeDefined();
      program.child.kill("SIGTERM");
      await program.ended;
      expect(program.printed()).not.toMatch(/binding|prebuild|node-gyp/i);
    }
  }, 600_000);
});
