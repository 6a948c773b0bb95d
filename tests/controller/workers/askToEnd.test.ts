import { writeFileSync } from "node:fs";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { expect, it } from "vitest";
import { askToEnd } from "../../../controller/workers/askToEnd.ts";
import { startProcess } from "../../../controller/workers/startProcess.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

/** Says by its exit code what it was ended by. */
const LISTENER = `
process.on("SIGTERM", () => process.exit(10));
process.on("disconnect", () => process.exit(11));
process.stdin.on("end", () => process.exit(12)).resume();
process.stdout.write("listening\\n");
setInterval(() => undefined, 1000);
`;

it.each([
  ["linux", "with a channel", 10],
  ["darwin", "without a channel", 10],
  ["win32", "with a channel", 11],
  ["win32", "without a channel", 12],
] as const)("on %s a process %s is asked to end in order", async (platform, channel, code) => {
  const main = join(temporaryFolder(), "main.mjs");
  writeFileSync(main, LISTENER);
  const child = startProcess(pathToFileURL(main), [], {
    stdio:
      channel === "with a channel"
        ? ["pipe", "pipe", "inherit", "ipc"]
        : ["pipe", "pipe", "inherit"],
  });
  await new Promise((resolve) => child.stdout!.once("data", resolve));
  const ended = new Promise((resolve) => child.once("exit", resolve));
  askToEnd(child, platform);
  expect(await ended).toBe(code);
});
