// Virtual cameras on this kernel's bus, worked by the whole program.
import { readdirSync } from "node:fs";
import { join } from "node:path";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { Catalogue } from "../../controller/archive/catalogue.ts";
import { startProgram } from "../support/program.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";
import { Bus } from "./bus.ts";

/** The program loads in half a minute there, in minutes where the machine has other work. */
const LOAD_MS = 300_000;

let bus: Bus;
beforeAll(async () => {
  bus = await Bus.start();
});
afterAll(async () => await bus.stop());

describe("a watch over USB", () => {
  it(
    "works two cameras at once, and goes on with the one that was pulled and plugged in again",
    async () => {
      const dataDir = temporaryFolder();
      const steady = await bus.plugVirtualAndGreet("NIGHT001");
      const pulled = await bus.plugVirtualAndGreet("NIGHT002");
      const daemon = startProgram("tests/support/pagelessDaemon.ts", [
        ...["--camera", "usb:NIGHT001,usb:NIGHT002", "--frames", "4", "--port", "0"],
        ...["--data", dataDir, "--max-exposure-seconds", "2.5"],
      ]);
      await expect
        .poll(async () => (await bus.orders(pulled)).length, { timeout: LOAD_MS })
        .toBeGreaterThan(1);
      const again = await bus.replug(pulled, 2_000);
      expect(await daemon.ended, daemon.printed()).toBe(0);
      expect((await bus.orders(steady)).length).toBe(4);
      // The frame that was cut off by the cable counts for the camera, and perhaps not for the watch.
      expect((await bus.orders(again)).length).toBeGreaterThanOrEqual(4);
      const [night] = readdirSync(join(dataDir, "nights"));
      const catalogue = Catalogue.open(join(dataDir, "nights", night!), { readOnly: true });
      for (const cameraId of ["camera-1", "camera-2"]) {
        const frames = catalogue.frames({ cameraId, fromIndex: 0, count: 10 });
        const kept = frames.filter(({ status }) => status === "kept");
        expect(kept.length).toBeGreaterThanOrEqual(cameraId === "camera-1" ? 4 : 3);
      }
      catalogue.close();
    },
    LOAD_MS + 120_000,
  );
});
