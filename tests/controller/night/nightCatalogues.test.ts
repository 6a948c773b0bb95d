import { closeSync, openSync, writeSync } from "node:fs";
import { basename, join } from "node:path";
import { expect, it, onTestFinished } from "vitest";
import { Catalogue, CATALOGUE_FILE } from "../../../controller/archive/catalogue.ts";
import { createNightFolder } from "../../../controller/archive/nightFolder.ts";
import { NightCatalogues } from "../../../controller/night/nightCatalogues.ts";
import { makeFrame, NIGHT_START_UTC_MS } from "../../support/frameRecords.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const FRAME_COUNT = 30;
const PAGE_BYTES = 4096;

it("makes the damaged catalogue of an earlier night again when the night is asked for, and says what it lost", async () => {
  const dataDir = temporaryFolder();
  const info = {
    ...{ name: "test", startUtcMs: NIGHT_START_UTC_MS, latitudeDeg: 69, longitudeDeg: 27 },
    ...{ placeName: "made up", isRehearsal: true },
  };
  const nightDir = createNightFolder(dataDir, info);
  const nightId = basename(nightDir);
  const written = Catalogue.create(nightDir, info);
  for (let frameIndex = 0; frameIndex < FRAME_COUNT; frameIndex += 1) {
    written.putFrame(makeFrame({ frameIndex }));
  }
  written.close();
  const file = openSync(join(nightDir, CATALOGUE_FILE), "r+");
  writeSync(file, Buffer.alloc(PAGE_BYTES, 0xa5), 0, PAGE_BYTES, PAGE_BYTES);
  closeSync(file);

  const said: string[] = [];
  const nights = new NightCatalogues(dataDir, null, (sentence) => said.push(sentence));
  onTestFinished(() => nights.close());
  expect(() => nights.catalogueOf(nightId)).toThrow(/is being made again/);
  expect(() => nights.catalogueOf(nightId)).toThrow(/is being made again/);
  await nights.settled();
  expect(said).toEqual([expect.stringMatching(/was damaged in \d+ place.*catalogue\.damaged-1/)]);
  const frames = nights.catalogueOf(nightId).frames({ fromIndex: 0, count: 1000 });
  expect(frames.length).toBeGreaterThan(0);
  expect(frames.length).toBeLessThanOrEqual(FRAME_COUNT);
});
