import { existsSync, mkdirSync, readdirSync, symlinkSync, writeFileSync } from "node:fs";
import { join } from "node:path";

import { afterEach, beforeEach, expect, test } from "vitest";

import type { FoundFrames, UpkeepJob, PruneOutlook } from "../../../core/api/upkeepMessages.ts";
import { DeliverService } from "../../../controller/deliver/deliverService.ts";
import { UpkeepJobs } from "../../../controller/deliver/upkeepJobs.ts";
import { fileRoutes } from "../../../controller/web/fileRoutes.ts";
import { startWebServer, type WebServer } from "../../../controller/web/server.ts";
import { createFakeNight } from "../../support/fakeNight.ts";
import { renderNight } from "../../support/renderedNight.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const COUNT = 12;

let dataDir: string;
let nightDir: string;
let base: string;
let upkeep: UpkeepJobs;
let server: WebServer;
let isWatched: boolean;
/** A folder outside the data folder, named on the command line. */
let exportDir: string;

/** Twelve frames, ten seconds apart; the sky is eight times brighter from the seventh on. */
beforeEach(async () => {
  dataDir = temporaryFolder();
  isWatched = false;
  const rendered = await renderNight({
    ...{ dataDir, count: COUNT, widthPx: 96, heightPx: 64 },
    sky: (seconds) => (seconds < 55 ? 0 : 3),
  });
  nightDir = rendered.nightDir;
  base = `/api/nights/${rendered.nightId}`;
  const deliveries = new DeliverService({ dataDir });
  exportDir = temporaryFolder();
  upkeep = new UpkeepJobs({ dataDir, exportDirs: [exportDir], isWatched: () => isWatched });
  server = await startWebServer({
    port: 0,
    service: createFakeNight(),
    uiDir: dataDir,
    extraRoutes: fileRoutes({ find: (id, query) => deliveries.find(id, query), upkeep }),
  });
});

afterEach(async () => {
  upkeep.close();
  await server.close();
});

async function find(query: string): Promise<FoundFrames> {
  return (await (
    await fetch(new URL(`${base}/find?${query}`, server.address))
  ).json()) as FoundFrames;
}

function begin(order: unknown): Promise<Response> {
  return fetch(new URL(`${base}/upkeep`, server.address), {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(order),
  });
}

async function ended(order: unknown): Promise<UpkeepJob> {
  const { jobId } = (await (await begin(order)).json()) as UpkeepJob;
  const job = async (): Promise<UpkeepJob> => {
    const answer = await fetch(new URL(`${base}/upkeep`, server.address));
    return ((await answer.json()) as UpkeepJob[]).find((one) => one.jobId === jobId)!;
  };
  await expect.poll(async () => (await job()).state, { timeout: 20_000 }).not.toBe("running");
  return await job();
}

function framesOnDisk(dir: string): number {
  return readdirSync(join(dir, "frames")).filter((name) => /\.jpe?g$/i.test(name)).length;
}

test("finds frames by time and by brightness, and counts them", async () => {
  const all = await find("");
  expect(all.count).toBe(COUNT);
  const from = all.frames[3]!.openedUtcMs;
  const to = all.frames[8]!.openedUtcMs;
  const within = await find(`from=${from}&to=${to}`);
  expect(within.frames.map(({ frameIndex }) => frameIndex)).toEqual([3, 4, 5, 6, 7, 8]);
  const skies = all.frames.map(({ skyLuminanceCdM2 }) => skyLuminanceCdM2!);
  const middle = Math.sqrt(Math.min(...skies) * Math.max(...skies));
  const bright = await find(`brighter=${middle}&from=${from}`);
  expect(bright.frames.map(({ frameIndex }) => frameIndex)).toEqual([6, 7, 8, 9, 10, 11]);
  expect((await find(`darker=${middle}`)).count).toBe(6);
  expect((await find("camera=another")).count).toBe(0);
  const surge = await find("surge=1");
  expect(surge.frames.every(({ frameIndex }) => frameIndex >= 6)).toBe(true);
  expect((await fetch(new URL(`${base}/find?from=noon`, server.address))).status).toBe(400);
});

test("copies a night to another folder and reads every copy back", async () => {
  const targetDir = join(dataDir, "elsewhere");
  const job = await ended({ kind: "export", targetDir });
  expect(job.state).toBe("finished");
  expect(job.sentences.at(-1)).toMatch(/^12 files were copied to .* and read back right\.$/);
  expect(job.progress).toMatchObject({ label: "copying files", doneCount: COUNT, share: 1 });
  expect(framesOnDisk(join(targetDir, base.split("/").at(-1)!))).toBe(COUNT);
});

test("copies into a folder that the command line names", async () => {
  const job = await ended({ kind: "export", targetDir: join(exportDir, "nights") });
  expect(job.state).toBe("finished");
  expect(framesOnDisk(join(exportDir, "nights", base.split("/").at(-1)!))).toBe(COUNT);
});

test.each([
  ["by its own path", (foreign: string) => join(foreign, "nights")],
  ["by dots", (foreign: string) => `${dataDir}/../${foreign.split("/").at(-1)!}`],
  [
    "by a link in the data folder",
    (foreign: string) => {
      symlinkSync(foreign, join(dataDir, "away"));
      return join(dataDir, "away", "deep");
    },
  ],
  [
    "by a link that leads nowhere yet",
    (foreign: string) => {
      symlinkSync(join(foreign, "new"), join(exportDir, "away"));
      return join(exportDir, "away");
    },
  ],
  [
    "by a link inside an older copy",
    (foreign: string) => {
      const older = join(exportDir, base.split("/").at(-1)!);
      mkdirSync(older);
      symlinkSync(foreign, join(older, "frames"));
      return exportDir;
    },
  ],
])("writes nothing into a folder that nobody named: %s", async (_way, targetOf) => {
  const foreign = temporaryFolder();
  const answer = await begin({ kind: "export", targetDir: targetOf(foreign) });
  expect(answer.status).toBe(400);
  expect(((await answer.json()) as { sentence: string }).sentence).toMatch(/--export-to|a link/);
  expect(readdirSync(foreign)).toEqual([]);
});

test("names the file that was altered, and fails", async () => {
  const [name] = readdirSync(join(nightDir, "frames"));
  writeFileSync(join(nightDir, "frames", name!), "altered");
  const job = await ended({ kind: "verify" });
  expect(job.state).toBe("failed");
  expect(job.sentences.join("\n")).toContain(`${name!} was altered`);
});

test("says first what would go, deletes it only by that number, and never while it is watched", async () => {
  const asked = await fetch(new URL(`${base}/prune?rule=unpicked`, server.address));
  const outlook = (await asked.json()) as PruneOutlook;
  expect(outlook.previewCount).toBe(COUNT);
  expect(outlook.bytes).toBeGreaterThan(1000);
  expect(framesOnDisk(nightDir)).toBe(COUNT);

  const other = await begin({ kind: "prune", rule: "unpicked", previewCount: COUNT - 1 });
  expect(other.status).toBe(400);
  isWatched = true;
  const watched = await begin({ kind: "prune", rule: "unpicked", previewCount: COUNT });
  expect(await watched.json()).toMatchObject({
    sentence: expect.stringContaining("still adds frames") as string,
  });
  expect(framesOnDisk(nightDir)).toBe(COUNT);

  isWatched = false;
  const job = await ended({ kind: "prune", rule: "unpicked", previewCount: COUNT });
  expect(job.state).toBe("finished");
  expect(framesOnDisk(nightDir)).toBe(0);
  expect((await find("")).frames.every(({ hasFile }) => !hasFile)).toBe(true);
});

test.each([
  [{ kind: "export", targetDir: "here" }, /whole path of a folder/],
  [{ kind: "export", targetDir: " " }, /Name a folder/],
  [{ kind: "burn" }, /one of verify, export, prune/],
])("refuses %j in one sentence", async (order, sentence) => {
  const response = await begin(order);
  expect(response.status).toBe(400);
  expect(((await response.json()) as { sentence: string }).sentence).toMatch(sentence);
  expect(existsSync(join(nightDir, "frames"))).toBe(true);
});
