import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { afterEach, describe, expect, it, onTestFinished } from "vitest";
import type { Camera } from "../../controller/cameras/camera.ts";
import { readProfiles } from "../../controller/profiles/readProfiles.ts";
import { openPtpCamera } from "../../controller/shutter/ptpCamera.ts";
import { startOrigin } from "../../controller/timing/clock.ts";
import { utcMs } from "../../core/units.ts";
import { readBodies, traitsOf } from "../bodies/body.ts";
import { OPERATION } from "../bodies/codes.ts";
import { Responder } from "../bodies/responder.ts";
import { SWITCHES, type Traits } from "../bodies/switches.ts";
import { keepDiary, orderFrame, type CameraDiary } from "../support/cameraDiary.ts";
import { startProgram } from "../support/program.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";

const HOUR_SECONDS = 3600;
const PATIENCE = { timeout: 30_000, interval: 10 };
const PLAIN = traitsOf(readBodies().find(({ name }) => name === "plain")!);
const SURVIVES = { rearm: SWITCHES.rearm.keepsSession };
/** Of every body whose info is plain. */
const SERIAL = "0001";

/** A process is killed while the body's shutter is open; another one meets the body then. */
describe("a shutter that a killed process left open", () => {
  const origin = startOrigin({ rate: 1, startUtcMs: utcMs(Date.now()) });
  let body: Responder;
  let camera: Camera | null = null;
  let notePath: string;

  afterEach(async () => {
    await camera?.close();
    camera = null;
    await body.stop();
  });

  /** @returns when the killed process had opened it. */
  async function killWithShutterOpen(traits: Partial<Traits>): Promise<number> {
    body = await Responder.start({ ...PLAIN, ...traits } as Traits, { isRecording: true });
    notePath = join(temporaryFolder(), "shutter-camera-1.json");
    const program = startProgram("tests/support/photographer.ts", [
      ...[String(body.port), JSON.stringify(origin)],
      ...["none", String(HOUR_SECONDS), notePath],
    ]);
    await program.prints(/shutterOpened/);
    program.child.kill("SIGKILL");
    await program.ended;
    expect(body.camera.diary.shutterIsOpen).toBe(true);
    return Date.now();
  }

  function meetAgain(): CameraDiary {
    camera = openPtpCamera({
      cameraId: "camera-1",
      target: { kind: "ip", host: "127.0.0.1", port: body.port },
      origin,
      notePath,
      profiles: readProfiles("/nonexistent").cameras,
    });
    const met = camera;
    const diary = keepDiary((listener) => met.onEvent(listener));
    met.connect();
    return diary;
  }

  const looseSinceMs = async (diary: CameraDiary): Promise<number | null> =>
    (await diary.next("connected")).description.looseSinceMs ?? null;

  const closings = (): number => body.camera.diary.asked.get(OPERATION.terminateOpenCapture) ?? 0;

  async function takesAFrame(diary: CameraDiary): Promise<void> {
    orderFrame(camera!, 1, { exposureSeconds: 2.1 });
    expect((await diary.next("shutterClosed")).frameIndex).toBe(1);
    expect(body.camera.diary.shutterIsOpen).toBe(false);
  }

  it("is closed by its transaction in the session that survived, and frames go on", async () => {
    await killWithShutterOpen(SURVIVES);
    const diary = meetAgain();
    expect(await looseSinceMs(diary)).toBeNull();
    expect(body.camera.diary.shutterIsOpen).toBe(false);
    expect(closings()).toBe(1);
    await takesAFrame(diary);
  });

  it("is closed by the next night's watch where the cut-off night is left for a new one", async () => {
    body = await Responder.start({ ...PLAIN, ...SURVIVES } as Traits);
    const dataDir = temporaryFolder();
    const watch = (...more: readonly string[]) =>
      startProgram("tests/support/pagelessDaemon.ts", [
        ...["--camera", `ip:127.0.0.1:${body.port}`, "--port", "0", "--data", dataDir, ...more],
        // Brighter than the body's sky ever is: the longest exposures.
        ...["--target-stops", "2", "--name", "orphan"],
      ]);
    const killed = watch();
    onTestFinished(() => void killed.child.kill("SIGKILL"));
    await expect.poll(() => body.camera.diary.shutterIsOpen, PATIENCE).toBe(true);
    killed.child.kill("SIGKILL");
    await killed.ended;
    expect(body.camera.diary.shutterIsOpen).toBe(true);
    const closedBefore = closings();
    const openedBefore = body.camera.diary.asked.get(OPERATION.initiateOpenCapture) ?? 0;
    const next = watch("--new-night");
    onTestFinished(() => void next.child.kill("SIGKILL"));
    await expect.poll(closings, PATIENCE).toBe(closedBefore + 1);
    expect(body.camera.diary.asked.get(OPERATION.initiateOpenCapture)).toBe(openedBefore);
    expect(readdirSync(join(dataDir, "nights"))).toHaveLength(2);
  });

  it("gets no number of the old session where a new one was opened, and is reported as open since it opened", async () => {
    const killedMs = await killWithShutterOpen({ busy: SWITCHES.busy.whileExposing });
    const { looseSinceMs: sinceMs = NaN } = await meetAgain().next("failed");
    expect(closings()).toBe(0);
    expect(origin.startUtcMs + sinceMs!).toBeLessThanOrEqual(killedMs);
    expect(origin.startUtcMs + sinceMs!).toBeGreaterThan(killedMs - 60_000);
  });

  it("gets no number meant for another body", async () => {
    await killWithShutterOpen(SURVIVES);
    const note = JSON.parse(readFileSync(notePath, "utf8")) as { serialNumber: string };
    expect(note.serialNumber).toBe(SERIAL);
    const other = await Responder.start({ ...PLAIN, ...SURVIVES, info: "doubles" } as Traits);
    await body.stop();
    body = other;
    const diary = meetAgain();
    expect(await looseSinceMs(diary)).toBeNull();
    expect(closings()).toBe(0);
    await takesAFrame(diary);
  });

  it("is closed by a maker's closing step in a new session", async () => {
    const maker = traitsOf(readBodies().find(({ name }) => name === "id-0b-records")!);
    await killWithShutterOpen({ ...maker, rearm: SWITCHES.rearm.atOnce });
    const diary = meetAgain();
    expect(await looseSinceMs(diary)).toBeNull();
    expect(body.camera.diary.shutterIsOpen).toBe(false);
  });

  it("is reported as open once a body that takes settings while it exposes stays too busy for a frame", async () => {
    const killedMs = await killWithShutterOpen({});
    const diary = meetAgain();
    await looseSinceMs(diary);
    orderFrame(camera!, 1, { exposureSeconds: 0.25 });
    const failed = await diary.next("failed");
    expect(failed.code).toBe("camera.busy");
    expect(origin.startUtcMs + failed.looseSinceMs!).toBeLessThanOrEqual(killedMs);
    camera!.connect();
    expect(await looseSinceMs(diary)).toBe(failed.looseSinceMs);
  });
});
