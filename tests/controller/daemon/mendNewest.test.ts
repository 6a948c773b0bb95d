import { closeSync, openSync, writeSync } from "node:fs";
import { join } from "node:path";
import { expect, it } from "vitest";
import { Catalogue, CATALOGUE_FILE } from "../../../controller/archive/catalogue.ts";
import { createNightFolder } from "../../../controller/archive/nightFolder.ts";
import { markRunning } from "../../../controller/archive/recover.ts";
import { mendNewest } from "../../../controller/daemon/mendNewest.ts";
import { NIGHT_START_UTC_MS, makeFrame } from "../../support/frameRecords.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const INFO = {
  ...{ name: "test", startUtcMs: NIGHT_START_UTC_MS, latitudeDeg: 69, longitudeDeg: 27 },
  ...{ placeName: "made up", isRehearsal: true },
};

async function mended(damage: (path: string) => void): Promise<readonly string[]> {
  const dataDir = temporaryFolder();
  const nightDir = createNightFolder(dataDir, INFO);
  const catalogue = Catalogue.create(nightDir, INFO);
  for (let frameIndex = 0; frameIndex < 30; frameIndex += 1) {
    catalogue.putFrame(makeFrame({ frameIndex }));
  }
  markRunning(catalogue, { isDemo: true, seed: "1", rate: 1 });
  catalogue.close();
  damage(join(nightDir, CATALOGUE_FILE));
  const lines: string[] = [];
  await mendNewest(dataDir, (line) => lines.push(line));
  return lines;
}

function overwrite(path: string, atByte: number, bytes: Buffer): void {
  const file = openSync(path, "r+");
  writeSync(file, bytes, 0, bytes.length, atByte);
  closeSync(file);
}

it("says nothing of a night whose catalogue is sound", async () => {
  expect(await mended(() => undefined)).toEqual([]);
});

it("says that a night was given up whose catalogue is destroyed, and lets the program start", async () => {
  const lines = await mended((path) => overwrite(path, 0, Buffer.alloc(4096, 0xa5)));
  expect(lines).toHaveLength(2);
  expect(lines[0]).toMatch(/was damaged in 1 place\. .* kept as catalogue\.damaged-1\.sqlite\.$/);
  expect(lines[1]).toMatch(/a new night begins\.$/);
});
