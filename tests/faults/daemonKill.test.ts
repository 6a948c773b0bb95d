import { mkdtempSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterEach, beforeEach, describe, expect, it } from "vitest";
import { Catalogue } from "../../controller/archive/catalogue.ts";
import type { Camera, CardFile } from "../../controller/cameras/camera.ts";
import { openPtpCamera } from "../../controller/shutter/ptpCamera.ts";
import { startOrigin } from "../../controller/timing/clock.ts";
import { utcMs } from "../../core/units.ts";
import { startProgram, type Program } from "../support/program.ts";

/** A daemon that dies in the middle of a frame, against a camera that goes on living. */
describe("a daemon killed while the shutter is open", () => {
  let dataDir: string;
  const programs: Program[] = [];

  beforeEach(() => {
    dataDir = mkdtempSync(join(tmpdir(), "nattvakt-kill-"));
  });

  afterEach(() => {
    for (const program of programs.splice(0)) program.child.kill("SIGKILL");
    rmSync(dataDir, { recursive: true, force: true });
  });

  function start(file: string, ...args: readonly string[]): Program {
    const program = startProgram(file, args);
    programs.push(program);
    return program;
  }

  it("goes on with the same night and misses none of the frames that the camera took", async () => {
    const virtual = start("controller/virtual-camera/main.ts", "--port", "0");
    const [, port] = await virtual.prints(/"port":(\d+)/);
    const daemonArgs = ["--camera", `ip:127.0.0.1:${port}`, "--port", "0", "--data", dataDir];
    const first = start("controller/main.ts", ...daemonArgs);
    await first.prints(/#0002/);
    first.child.kill("SIGKILL");
    await first.ended;

    const second = start("controller/main.ts", ...daemonArgs);
    await second.prints(/was cut off; the watch goes on/);
    const [, count] = /goes on with frame (\d+)/.exec(second.printed())!;
    await second.prints(new RegExp(`#${String(Number(count) + 2).padStart(4, "0")}`));
    second.child.kill("SIGINT");
    expect(await second.ended).toBe(0);

    const nights = readdirSync(join(dataDir, "nights"));
    expect(nights).toHaveLength(1);
    const catalogue = Catalogue.open(join(dataDir, "nights", nights[0]!), { readOnly: true });
    const kept = catalogue
      .frames({ fromIndex: 0, count: 1000 })
      .filter((frame) => frame.status === "kept");
    // What the camera took at the moment of the kill, before the frame was written, proves no frame.
    const strays = catalogue.strays().map(({ card: { cameraName } }) => cameraName);
    expect(strays.length).toBeLessThanOrEqual(1);
    expect(catalogue.integrityProblems()).toEqual([]);
    catalogue.close();
    const card = await listCard(Number(port));
    const names = [...kept.map((frame) => frame.file!.cameraName), ...strays].sort();
    expect(names).toEqual(card.map((file) => file.cameraName).sort());
    expect(new Set(kept.map((frame) => frame.file!.sha256)).size).toBe(kept.length);
  }, 300_000);
});

async function listCard(port: number): Promise<readonly CardFile[]> {
  const camera: Camera = openPtpCamera({
    cameraId: "reader",
    target: { kind: "ip", host: "127.0.0.1", port },
    origin: startOrigin({ rate: 1, startUtcMs: utcMs(0) }),
  });
  try {
    await new Promise<void>((resolve, reject) => {
      camera.onEvent((event) => {
        if (event.kind === "connected") resolve();
        if (event.kind === "failed") reject(new Error(event.sentence));
      });
      camera.connect();
    });
    return await camera.listCard();
  } finally {
    await camera.close();
  }
}
