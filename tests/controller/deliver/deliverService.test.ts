import { mkdirSync, readdirSync, symlinkSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it, onTestFinished } from "vitest";
import { DeliverService } from "../../../controller/deliver/deliverService.ts";
import type { DeliverJob } from "../../../core/api/deliverMessages.ts";
import { NO_EDITS } from "../../../core/frames/frameSets.ts";
import { SEQUENCE_ONLY } from "../../support/deliverInTest.ts";
import { renderNight } from "../../support/renderedNight.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

async function serviceOver(
  count: number,
): Promise<{ service: DeliverService; nightId: string; nightDir: string }> {
  const dataDir = temporaryFolder();
  const { nightId, nightDir } = await renderNight({ dataDir, count, widthPx: 96, heightPx: 64 });
  const service = new DeliverService({ dataDir });
  onTestFinished(() => {
    service.close();
  });
  return { service, nightId, nightDir };
}

function settled(service: DeliverService): Promise<DeliverJob> {
  return new Promise((resolve) => {
    const stop = service.subscribe((job) => {
      if (job.state === "running") return;
      stop();
      resolve(job);
    });
  });
}

describe("deliveries for the page", () => {
  it("run as a process of their own, tell their progress and their files, and serve only those", async () => {
    const { service, nightId } = await serviceOver(5);
    const end = settled(service);
    const job = service.start(nightId, { ...SEQUENCE_ONLY, keogram: true });
    expect(() => service.start(nightId, SEQUENCE_ONLY)).toThrow(/is running/);
    const done = await end;
    expect(done).toMatchObject({ jobId: job.jobId, state: "finished", sentence: null });
    expect(done.progress?.share).toBe(1);
    expect(done.result?.files.map((file) => file.kind)).toEqual(["sequence", "keogram"]);
    expect(service.filePath(nightId, "keogram.png")).toMatch(/keogram\.png$/);
    for (const path of ["../catalogue.sqlite", "/etc/passwd", "", "nothing.png"]) {
      expect(service.filePath(nightId, path)).toBeNull();
    }
    expect(service.morning(nightId).keepers.length).toBeGreaterThan(0);
  });

  it("write nothing, and serve nothing, through a link that leads out of the data folder", async () => {
    const { service, nightId, nightDir } = await serviceOver(3);
    const foreign = temporaryFolder();
    symlinkSync(foreign, join(nightDir, "deliver"));
    expect(() => service.start(nightId, SEQUENCE_ONLY)).toThrow(/is a link that leads out/);
    expect(readdirSync(foreign)).toEqual([]);
  });

  it("serve no file that a link in their folder leads to", async () => {
    const { service, nightId, nightDir } = await serviceOver(3);
    const secret = join(temporaryFolder(), "secret.txt");
    writeFileSync(secret, "not for the page");
    mkdirSync(join(nightDir, "deliver"));
    writeFileSync(join(nightDir, "deliver", "note.txt"), "for the page");
    symlinkSync(secret, join(nightDir, "deliver", "out.txt"));
    expect(service.filePath(nightId, "note.txt")).not.toBeNull();
    expect(service.filePath(nightId, "out.txt")).toBeNull();
  });

  it("can be cancelled at once and gone on with", async () => {
    const { service, nightId } = await serviceOver(8);
    const cancelled = settled(service);
    const job = service.start(nightId, SEQUENCE_ONLY);
    service.cancel(job.jobId);
    expect(await cancelled).toMatchObject({ state: "cancelled" });
    const end = settled(service);
    service.resume(job.jobId);
    expect(await end).toMatchObject({ state: "finished" });
  });

  it("keep the photographer's picks, cuts and names", async () => {
    const { service, nightId } = await serviceOver(6);
    const frame = { cameraId: "made-up", frameIndex: 4 };
    service.setPick(nightId, frame, { pick: "keep", rating: 4 });
    service.setEdits(nightId, {
      ...NO_EDITS,
      cuts: [{ cameraId: "made-up", frameIndex: 3 }],
      names: { "made-up-000003": "Second half" },
    });
    const morning = service.morning(nightId);
    expect(morning.keepers[0]).toMatchObject({ ...frame, isByHand: true });
    expect(morning.sets.map((set) => set.name)).toEqual(["Set 1", "Second half"]);
    expect(service.find(nightId, { luminanceCdM2Min: 1 })).toEqual([]);
    expect(() => service.setPick(nightId, { ...frame, frameIndex: 99 }, null)).toThrow(/no frame/);
    expect(() => service.morning("../elsewhere")).toThrow(/no night/);
  });
});
