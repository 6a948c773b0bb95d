// The virtual camera on this kernel's bus, worked by the whole program.
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, afterEach, beforeAll, describe, expect, it } from "vitest";
import { parseCommandLine } from "../../controller/commandLine.ts";
import { START_COMMAND } from "../../controller/config.ts";
import { startDaemon, type Daemon } from "../../controller/daemon.ts";
import { Bus, openWhenThere } from "./bus.ts";

let bus: Bus;
let dataDir: string;
let daemon: Daemon | null = null;
beforeAll(async () => {
  bus = await Bus.start();
  dataDir = mkdtempSync(join(tmpdir(), "nattvakt-usb-"));
});
afterEach(async () => {
  await daemon?.stop();
  daemon = null;
});
afterAll(async () => {
  await bus.stop();
  rmSync(dataDir, { recursive: true, force: true });
});

const CAMERA = { rate: 1, busySeconds: 0.3, utcOffsetMinutes: 0 };

/** A camera that the kernel has greeted. */
async function plugged(serialNumber: string): Promise<number> {
  const device = await bus.plugVirtual(serialNumber, CAMERA);
  await (await openWhenThere(serialNumber)).close();
  return device;
}

async function startWatch(cameras: string, frames: number) {
  const lines: string[] = [];
  const line = parseCommandLine(START_COMMAND, [
    ...["--camera", cameras, "--frames", String(frames), "--port", "0", "--new-night"],
    ...["--data", dataDir, "--max-exposure-seconds", "2.5"],
  ]);
  if (line.kind === "help") throw new Error("no options");
  daemon = await startDaemon(line.options, (text) => lines.push(text));
  return { lines, finished: daemon.finished };
}

describe("a watch over USB", () => {
  it("works two cameras at once, and goes on with the one that was pulled and plugged in again", async () => {
    const steady = await plugged("NIGHT001");
    const pulled = await plugged("NIGHT002");
    const { lines, finished } = await startWatch("usb:NIGHT001,usb:NIGHT002", 4);
    await expect
      .poll(async () => (await bus.orders(pulled)).length, { timeout: 60_000 })
      .toBeGreaterThan(1);
    const again = await bus.replug(pulled, 2_000);
    await finished;
    expect((await bus.orders(steady)).length).toBe(4);
    // The frame that was cut off by the cable counts for the camera, and perhaps not for the watch.
    expect((await bus.orders(again)).length).toBeGreaterThanOrEqual(4);
    for (const cameraId of ["camera-1", "camera-2"]) {
      expect(lines.some((line) => line.includes(cameraId))).toBe(true);
    }
  });
});
