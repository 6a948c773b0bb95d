import { execFile } from "node:child_process";
import { accessSync, constants, existsSync } from "node:fs";
import { delimiter, join } from "node:path";
import { promisify } from "node:util";

import { chromium, type Browser } from "playwright-core";

const run = promisify(execFile);

/** Names under which a Chromium stands in the PATH. */
const NAMES = ["chromium", "chromium-browser", "google-chrome", "google-chrome-stable"];

/** Where systems put one without putting it into the PATH. */
const PLACES = [
  "/usr/bin",
  "/usr/local/bin",
  "/snap/bin",
  "/opt/google/chrome",
  "/Applications/Chromium.app/Contents/MacOS",
];

/** A download of 150 MB on a slow line. */
const INSTALL_MS = 15 * 60_000;

/** Path of a Chromium: what CHROMIUM names, else the system's, else the test library's own; or null. */
function findChromium(env: NodeJS.ProcessEnv = process.env): string | null {
  const named = env["CHROMIUM"];
  if (named) return isRunnable(named) ? named : null;
  const folders = [...(env["PATH"] ?? "").split(delimiter), ...PLACES].filter(Boolean);
  for (const folder of folders) {
    for (const name of [...NAMES, "Chromium"]) {
      const path = join(folder, name);
      if (isRunnable(path)) return path;
    }
  }
  const own = chromium.executablePath();
  return existsSync(own) ? own : null;
}

/**
 * Finds a Chromium or brings one: Debian's package where we are root, else the test library's own
 * download.
 *
 * @throws Error with one line that says what to install.
 */
export async function ensureChromium(): Promise<string> {
  const found = findChromium();
  if (found !== null) return found;
  const named = process.env["CHROMIUM"];
  if (named) throw new Error(`CHROMIUM names ${named}, which cannot be run.`);
  for (const install of [installDebianPackage, downloadOwn]) {
    // What fails here is reported below, in one line, once nothing else is left to try.
    await install().catch(() => undefined);
    const path = findChromium();
    if (path !== null) return path;
  }
  throw new Error(
    "The browser tests need a Chromium: install Debian's package (apt-get install chromium) or name one in the variable CHROMIUM.",
  );
}

async function installDebianPackage(): Promise<void> {
  if (process.getuid?.() !== 0 || !existsSync("/etc/debian_version")) return;
  const options = {
    timeout: INSTALL_MS,
    env: { ...process.env, DEBIAN_FRONTEND: "noninteractive" },
  };
  await run("apt-get", ["update", "-q"], options);
  await run("apt-get", ["install", "-y", "-q", "--no-install-recommends", "chromium"], options);
}

async function downloadOwn(): Promise<void> {
  await run("npx", ["playwright-core", "install", "chromium"], { timeout: INSTALL_MS });
}

/** Starts a browser of its own; the caller closes it. */
export async function launchChromium(): Promise<Browser> {
  return chromium.launch({
    executablePath: await ensureChromium(),
    args: [
      ...(process.getuid?.() === 0 ? ["--no-sandbox"] : []),
      "--disable-gpu",
      "--disable-quic",
      "--no-first-run",
      "--disable-background-networking",
      "--disable-component-update",
      "--disable-sync",
      // The colours of a screenshot are then the colours of the page.
      "--force-color-profile=srgb",
    ],
  });
}

function isRunnable(path: string): boolean {
  try {
    accessSync(path, constants.X_OK);
    return true;
  } catch {
    return false;
  }
}
