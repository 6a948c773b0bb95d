import { spawn } from "node:child_process";
import { once } from "node:events";
import { existsSync } from "node:fs";
import { join } from "node:path";
import { expect, it, onTestFinished } from "vitest";
import { temporaryFolder } from "../support/temporaryFolder.ts";

/** As node-gyp-build and sharp themselves put it for a processor that they do not know. */
const GYP_WORDS =
  "No native build was found for platform=linux arch=riscv64 runtime=node abi=137\n    loaded from: /n/node_modules/";
const SHARP_WORDS =
  'Could not load the "sharp" module using the linux-riscv64 runtime\nPossible solutions:\n- none';

const ON_A_CONTACT = ["--frames-folder", ".", "--fixed-iso", "800"];

it.each([
  ["@photostructure/sqlite", [], /catalogue of a night.*cannot run without it; use a computer/],
  ["sharp", [], /decodes pictures.*cannot run without it; use a computer/],
  ["usb", ["--camera", "usb"], /cameras on USB.*cameras on the network .* work without it/],
  ["node-hid", ["--release", "hid", ...ON_A_CONTACT], /HID relays.*serial release contacts/],
  ["serialport", ["--release", "serial:/dev/tty:rts", ...ON_A_CONTACT], /serial lines.*HID relays/],
  ["serialport", ["--camera", "ip:127.0.0.1", "--climate", "/dev/tty"], /serial lines.*cameras on/],
])(
  "without a binary of %s (%j) it ends with 1 and one sentence",
  async (name, args, sentence) => {
    const dataDir = join(temporaryFolder(), "data");
    const imports = ["./tests/support/withoutPackage.mjs", "tsx"].flatMap((one) => [
      "--import",
      one,
    ]);
    const child = spawn(
      process.execPath,
      [...imports, "controller/main.ts", "--port", "0", "--data", dataDir, ...args],
      {
        env: {
          ...process.env,
          WITHOUT_PACKAGE: name,
          WITHOUT_WORDS: name === "sharp" ? SHARP_WORDS : GYP_WORDS + name,
        },
      },
    );
    onTestFinished(() => void child.kill("SIGKILL"));
    let printed = "";
    for (const stream of [child.stdout, child.stderr]) {
      stream.setEncoding("utf8").on("data", (text: string) => (printed += text));
    }
    expect(await once(child, "close")).toEqual([1, null]);
    expect(printed).toMatch(new RegExp(`^error: The package ${name}, which .*\\n$`));
    expect(printed).toMatch(sentence);
    expect(existsSync(dataDir)).toBe(false);
  },
  120_000,
);
