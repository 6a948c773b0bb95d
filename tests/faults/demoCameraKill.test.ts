import { execFileSync } from "node:child_process";
import { expect, it, onTestFinished } from "vitest";
import { startProgram } from "../support/program.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";

function virtualCameraOf(pid: number): number {
  const table = execFileSync("ps", ["-eo", "pid=,ppid=,args="], { encoding: "utf8" });
  const line = table
    .split("\n")
    .map((row) => row.trim().split(/\s+/))
    .find(([, parent, ...args]) => parent === String(pid) && /virtual-camera/.test(args.join(" ")));
  return Number(line?.[0]);
}

it("a demo whose camera is killed takes frames again by itself, and ends in order", async () => {
  const daemon = startProgram("controller/main.ts", [
    ...["--port", "0", "--data", temporaryFolder()],
    // Dusk: its frames are short, and come one after the other.
    "--from-dusk",
  ]);
  onTestFinished(() => void daemon.child.kill("SIGKILL"));
  await daemon.prints(/ #0001 /);
  process.kill(virtualCameraOf(daemon.child.pid!), "SIGKILL");
  await daemon.prints(/The virtual camera has died\. It is started again in 3 s\./);
  const lastBefore = Math.max(
    ...[...daemon.printed().matchAll(/ #(\d{4}) /g)].map(([, index]) => Number(index)),
  );
  const later = String(lastBefore + 3).padStart(4, "0");
  await daemon.prints(new RegExp(` #${later} `), 90_000);
  daemon.child.kill("SIGINT");
  expect(await daemon.ended, daemon.printed()).toBe(0);
  expect(daemon.printed()).not.toMatch(/\n\s+at /);
}, 180_000);
