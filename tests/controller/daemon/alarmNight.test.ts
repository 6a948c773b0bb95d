import { chmodSync, existsSync, readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { expect, it, onTestFinished, vi } from "vitest";
import { startProgram } from "../../support/program.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

it("a running program calls the person's own command when the page tries it", async () => {
  const folder = temporaryFolder();
  const heard = join(folder, "heard.json");
  const command = join(folder, "wake-me");
  writeFileSync(command, `#!/bin/sh\ncat > "${heard}.part"; mv "${heard}.part" "${heard}"\n`);
  chmodSync(command, 0o755);
  const program = startProgram("controller/main.ts", [
    ...["--no-demo", "--port", "0", "--data", join(folder, "data"), "--alarm-command", command],
  ]);
  onTestFinished(() => void program.child.kill("SIGKILL"));
  const [, address] = await program.prints(/The page: (http:\S+)/);
  const tried = await fetch(`${address}api/alarms/try`, { method: "POST" });
  expect(await tried.json()).toEqual({ command: true, webhook: false });
  await vi.waitFor(() => expect(existsSync(heard)).toBe(true), { timeout: 30_000 });
  expect(JSON.parse(readFileSync(heard, "utf8"))).toMatchObject({ kind: "trial" });
  program.child.kill("SIGTERM");
  expect(await program.ended, program.printed()).toBe(0);
}, 120_000);
