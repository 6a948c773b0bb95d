// Asks every package that brings a binary for something that only the binary can answer, and prints
// what came: run in a clone that was installed with every script blocked.
import { execFileSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";
import HID from "node-hid";
import { SerialPort } from "serialport";
import sharp from "sharp";
import { usb } from "usb";
import { SqliteFile } from "../../controller/archive/sqliteFile.ts";
import { findVideoEncoder } from "../../controller/deliver/videoEncoder.ts";

/** A line that there is not: the binary is asked to open it, and says so. */
const NO_LINE = "/dev/nattvakt-no-such-line";

function sqliteVersion(): string {
  const folder = mkdtempSync(join(tmpdir(), "nattvakt-binaries-"));
  try {
    const file = SqliteFile.open(join(folder, "catalogue.sqlite"), "create");
    const row = file.get("SELECT sqlite_version() AS version") as { readonly version: string };
    file.close();
    return row.version;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

async function sharpBytes(): Promise<number> {
  const create = { width: 2, height: 2, channels: 3, background: "red" } as const;
  return (await sharp({ create }).jpeg().toBuffer()).length;
}

function serialRefusal(): Promise<string> {
  return new Promise((resolve, reject) => {
    new SerialPort({ path: NO_LINE, baudRate: 9600 }, (error) =>
      error ? resolve(error.message) : reject(new Error("it opened a line that there is not")),
    );
  });
}

function encoderVersion(): string {
  // The package's own, though the system may have one.
  const path = findVideoEncoder({
    system: "/nowhere/no-such-program",
    brought: () =>
      (createRequire(import.meta.url)("@ffmpeg-installer/ffmpeg") as { readonly path: string })
        .path,
  });
  return execFileSync(path, ["-version"], { encoding: "utf8" }).split("\n")[0]!;
}

const { transform } = createRequire(createRequire(import.meta.url).resolve("tsx"))("esbuild") as {
  readonly transform: (code: string, options: object) => Promise<{ readonly code: string }>;
};

const answers = {
  sqlite: sqliteVersion(),
  sharp: `${await sharpBytes()} bytes`,
  usb: `${usb.getDeviceList().length} devices`,
  "node-hid": `${HID.devices().length} devices`,
  serialport: await serialRefusal(),
  esbuild: (await transform("const a: number = 1", { loader: "ts" })).code.trim(),
  "@ffmpeg-installer/ffmpeg": encoderVersion(),
};
process.stdout.write(`${JSON.stringify(answers)}\n`);
