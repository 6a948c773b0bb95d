import { readdirSync } from "node:fs";
import { join } from "node:path";
import { afterEach, describe, expect, it, onTestFinished } from "vitest";
import { Catalogue } from "../../controller/archive/catalogue.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { startBodyOnContact } from "../support/bodyOnContact.ts";
import { contactMovements } from "../support/fileRelease.ts";
import { startProgram, type Program } from "../support/program.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";

const ISO = 1600;

/** A night on a body that has nothing but a socket for a release cable. */
describe("a watch on a release contact", () => {
  const programs: Program[] = [];
  afterEach(() => {
    for (const program of programs.splice(0)) program.child.kill("SIGKILL");
  });

  function setUp(fileMs = 0) {
    const log = join(temporaryFolder(), "line");
    const framesFolder = temporaryFolder();
    const dataDir = temporaryFolder();
    const body = startBodyOnContact(
      { movements: () => contactMovements(log), folder: framesFolder, iso: ISO },
      fileMs,
    );
    onTestFinished(() => body.stop());
    const start = (...args: readonly string[]): Program => {
      const program = startProgram("tests/support/contactDaemon.ts", [
        ...["--release", `serial:${log}`, "--frames-folder", framesFolder],
        ...["--fixed-iso", String(ISO), "--data", dataDir, "--port", "0", ...args],
      ]);
      programs.push(program);
      return program;
    };
    return { log, dataDir, body, start };
  }

  function keptFrames(dataDir: string): readonly FrameRecord[] {
    const nights = readdirSync(join(dataDir, "nights"));
    expect(nights).toHaveLength(1);
    const catalogue = Catalogue.open(join(dataDir, "nights", nights[0]!), { readOnly: true });
    const frames = catalogue.frames({ fromIndex: 0, count: 100 });
    catalogue.close();
    return frames.filter(({ status }) => status === "kept");
  }

  it("keeps every file that comes, governs by time alone, and says what it cannot set", async () => {
    // Longer than from frame to frame: two or three are on their way when the watch ends.
    const { log, dataDir, body, start } = setUp(4_000);
    const daemon = start(
      ...["--frames", "6", "--max-exposure-seconds", "1.5", "--target-stops", "-5"],
    );
    expect(await daemon.ended, daemon.printed()).toBe(0);
    const frames = keptFrames(dataDir);
    expect(frames.map(({ file }) => file?.cameraName)).toEqual(body.files());
    expect(frames).toHaveLength(6);
    for (const { ordered, happened } of frames) {
      expect(ordered.iso).toBe(ISO);
      expect(happened!.iso).toBe(ISO);
    }
    // Files come late, and the end of the watch waits for the last ones' readings.
    expect(frames.filter(({ reading }) => reading === null)).toEqual([]);
    // A sky that is too bright for the target is met by shorter exposures.
    const seconds = frames.map(({ happened }) => happened!.exposureSeconds);
    expect(Math.min(...seconds)).toBeLessThan(seconds[0]! / 1.4);
    expect(contactMovements(log).filter(({ word }) => word === "closed")).toHaveLength(6);
    expect(contactMovements(log).at(-1)?.word).toBe("open");
    const printed = daemon.printed();
    expect(printed).toMatch(/Set ISO 1600 on the camera by hand.*governed by time alone/);
    expect(printed).toMatch(/galvanically isolated.*no foreign voltage.*bench check/);
    expect(printed).toMatch(/raises DTR and RTS for a moment/);
  }, 120_000);

  it("opens the contact when the daemon is killed, and the next start goes on with the night", async () => {
    const { log, dataDir, body, start } = setUp();
    const first = start("--max-exposure-seconds", "30", "--target-stops", "2");
    await expect
      .poll(() => contactMovements(log).filter(({ word }) => word === "closed").length, {
        timeout: 60_000,
      })
      .toBeGreaterThan(0);
    first.child.kill("SIGKILL");
    await first.ended;
    await expect.poll(() => contactMovements(log).at(-1)?.word, { timeout: 10_000 }).toBe("open");
    await expect.poll(() => body.files().length).toBeGreaterThan(0);
    const cutOff = body.files().length;
    const second = start("--frames", "2", "--max-exposure-seconds", "1");
    expect(await second.ended, second.printed()).toBe(0);
    expect(second.printed()).toMatch(/was cut off; the watch goes on/);
    expect(body.files().length).toBeGreaterThan(cutOff);
    expect(contactMovements(log).at(-1)?.word).toBe("open");
    expect(keptFrames(dataDir).length).toBeGreaterThan(0);
  }, 120_000);
});
