import { spawn, type ChildProcess } from "node:child_process";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { fileURLToPath } from "node:url";
import { afterEach, describe, expect, it } from "vitest";
import { Catalogue } from "../../controller/archive/catalogue.ts";
import { listNights, NIGHTS_FOLDER } from "../../controller/archive/nightFolder.ts";
import { parseCommandLine } from "../../controller/commandLine.ts";
import { START_COMMAND } from "../../controller/config.ts";
import { startDaemon, type Daemon } from "../../controller/daemon/daemon.ts";
import { readImageExif } from "../../controller/imageExif.ts";
import { timingWords, type Scheduling } from "../../core/words/timingWords.ts";
import { mayBeRealTime } from "../support/mayBeRealTime.ts";
import { FakeIpCamera } from "../support/fakeIpCamera.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";

const ROOT = fileURLToPath(new URL("../../", import.meta.url));
const FRAMES = 3;

type ScheduledLine = {
  readonly event: string;
  readonly cameraId: string;
  readonly scheduling: Scheduling;
  readonly sentence: string;
};

describe("several cameras in one night", () => {
  const devices: ChildProcess[] = [];
  let daemon: Daemon | null = null;
  afterEach(async () => {
    await daemon?.abandon();
    daemon = null;
    for (const device of devices.splice(0)) device.stdin!.end();
  });

  /** A camera in a process of its own, as a real one is. */
  const plugIn = async (): Promise<number> => {
    const args = ["--import", "tsx", "tests/support/flatCamera.ts", "1", "0.2"];
    const child = spawn(process.execPath, args, { cwd: ROOT, stdio: ["pipe", "pipe", "inherit"] });
    devices.push(child);
    const lines = createInterface({ input: child.stdout });
    const line = await new Promise<string>((resolve) => lines.once("line", resolve));
    return (JSON.parse(line) as { port: number }).port;
  };
  const watch = async (ports: readonly number[], dataDir: string): Promise<readonly string[]> => {
    const lines: string[] = [];
    const line = parseCommandLine(START_COMMAND, [
      ...["--camera", ports.map((port) => `ip:127.0.0.1:${port}`).join(",")],
      ...["--frames", String(FRAMES), "--port", "0", "--data", dataDir],
      ...["--max-exposure-seconds", "2.5"],
    ]);
    if (line.kind === "help") throw new Error("no options");
    daemon = await startDaemon(line.options, (text) => lines.push(text));
    return lines;
  };
  const openNight = (dataDir: string): Catalogue => {
    const [night] = listNights(dataDir);
    return Catalogue.open(join(dataDir, NIGHTS_FOLDER, night!.nightId), { readOnly: true });
  };
  /** Largest difference of what the night wrote down and what the camera's files say, seconds. */
  const worstError = async (catalogue: Catalogue, cameraId: string): Promise<number> => {
    const frames = catalogue.frames({ cameraId, fromIndex: 0, count: 10 });
    expect(frames).toHaveLength(FRAMES);
    const errors = frames.map(async ({ file, happened }) => {
      const image = readFileSync(join(catalogue.nightDir, file!.path));
      const { exposureSeconds } = await readImageExif(image);
      return Math.abs(exposureSeconds! - happened!.exposureSeconds);
    });
    return Math.max(...(await Promise.all(errors)));
  };

  it("each has its own watch, frames and files, exposes as it says, and has its scheduling in the log", async () => {
    const dataDir = temporaryFolder();
    const lines = await watch([await plugIn(), await plugIn()], dataDir);
    await daemon!.finished;
    await daemon!.stop();
    daemon = null;
    const catalogue = openNight(dataDir);
    expect([...catalogue.cameraIds()].sort()).toEqual(["camera-1", "camera-2"]);
    const paths = ["camera-1", "camera-2"].flatMap((cameraId) =>
      catalogue.frames({ cameraId, fromIndex: 0, count: 10 }).map(({ file }) => file!.path),
    );
    expect(new Set(paths).size).toBe(2 * FRAMES);
    for (const cameraId of ["camera-1", "camera-2"]) {
      expect(await worstError(catalogue, cameraId)).toBeLessThan(0.25);
      expect(lines.some((text) => text.includes(cameraId))).toBe(true);
    }
    catalogue.close();
    const log = readFileSync(join(dataDir, "nattvakt.log"), "utf8").trim().split("\n");
    const scheduled = log
      .map((line) => JSON.parse(line) as ScheduledLine)
      .filter(({ event }) => event === "timing.scheduled");
    expect(scheduled.map(({ cameraId }) => cameraId).sort()).toEqual(["camera-1", "camera-2"]);
    for (const { scheduling, sentence } of scheduled) {
      expect(scheduling === "realTime").toBe(mayBeRealTime());
      expect(sentence).toBe(timingWords.scheduling(scheduling));
    }
  });

  it("one that takes every connection and never answers does not hold the other up", async () => {
    const dataDir = temporaryFolder();
    const mute = new FakeIpCamera();
    const mutePort = await mute.listen();
    await watch([mutePort, await plugIn()], dataDir);
    const catalogue = openNight(dataDir);
    const taken = (): number =>
      catalogue
        .frames({ cameraId: "camera-2", fromIndex: 0, count: 10 })
        .filter(({ file }) => file !== null).length;
    await expect.poll(taken, { timeout: 50_000 }).toBe(FRAMES);
    expect(catalogue.frames({ cameraId: "camera-1", fromIndex: 0, count: 10 })).toEqual([]);
    expect(await worstError(catalogue, "camera-2")).toBeLessThan(0.25);
    catalogue.close();
    await daemon!.abandon();
    daemon = null;
    await mute.stop();
  });
});
