import { chmodSync, existsSync, mkdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { basename, join } from "node:path";
import { describe, expect, it } from "vitest";
import { Catalogue } from "../../../controller/archive/catalogue.ts";
import {
  createNightFolder,
  eveningDate,
  folderNameOf,
  listNights,
} from "../../../controller/archive/nightFolder.ts";
import type { NightInfo } from "../../../controller/archive/nightInfo.ts";
import { utcMs } from "../../../core/units.ts";
import { makeFrame } from "../../support/frameRecords.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const NIGHT: NightInfo = {
  name: "Föhn över sjön / 2",
  startUtcMs: utcMs(Date.UTC(2026, 0, 10, 23, 30)),
  latitudeDeg: 68.9,
  longitudeDeg: 27,
  placeName: "Hut Seven",
  isRehearsal: false,
};

describe("night folder", () => {
  it("carries the evening's date, also for a start after midnight", () => {
    expect(eveningDate({ startUtcMs: Date.UTC(2026, 0, 10, 23, 30), longitudeDeg: 27 })).toBe(
      "2026-01-10",
    );
    // 01:18 local mean solar time on the eleventh is still the tenth's night.
    expect(eveningDate({ startUtcMs: Date.UTC(2026, 0, 10, 10, 0), longitudeDeg: -150 })).toBe(
      "2026-01-09",
    );
    expect(eveningDate({ startUtcMs: Date.UTC(2026, 0, 10, 13, 0), longitudeDeg: 0 })).toBe(
      "2026-01-10",
    );
  });

  it("makes names that every file system takes", () => {
    expect(folderNameOf("Föhn över sjön / 2")).toBe("Fohn-over-sjon-2");
    expect(folderNameOf("../..")).toBe("night");
    expect(folderNameOf("x".repeat(500))).toHaveLength(60);
  });

  it("adds a number when the name is taken", () => {
    const dataDir = temporaryFolder();
    const made = [1, 2, 3].map(() => basename(createNightFolder(dataDir, NIGHT)));
    expect(made).toEqual([
      "2026-01-10_Fohn-over-sjon-2",
      "2026-01-10_Fohn-over-sjon-2-2",
      "2026-01-10_Fohn-over-sjon-2-3",
    ]);
    const file = join(dataDir, "nights", made[0]!, "night.json");
    expect(JSON.parse(readFileSync(file, "utf8"))).toMatchObject({ version: 1, name: NIGHT.name });
    expect(existsSync(join(dataDir, "nights", made[0]!, "frames"))).toBe(true);
  });

  it("says in one sentence that the data folder is no folder that can be written", () => {
    const dataDir = temporaryFolder();
    const file = join(dataDir, "file");
    writeFileSync(file, "");
    expect(() => createNightFolder(file, NIGHT)).toThrow(
      expect.objectContaining({ code: "archive.read_only" }),
    );
  });

  it.skipIf(process.getuid?.() === 0)("says that a read-only data folder cannot be written", () => {
    const dataDir = temporaryFolder();
    chmodSync(dataDir, 0o500);
    expect(() => createNightFolder(dataDir, NIGHT)).toThrow(
      expect.objectContaining({ code: "archive.read_only" }),
    );
  });

  it("lists nights newest first with their frames, and says what is wrong with one that is not whole", () => {
    const dataDir = temporaryFolder();
    expect(listNights(dataDir)).toEqual([]);
    const older = createNightFolder(dataDir, NIGHT);
    const catalogue = Catalogue.create(older, NIGHT);
    catalogue.putFrame(makeFrame({ frameIndex: 0 }));
    catalogue.close();
    const newer = createNightFolder(dataDir, {
      ...NIGHT,
      name: "second",
      startUtcMs: utcMs(NIGHT.startUtcMs + 86_400_000),
    });
    writeFileSync(join(newer, "catalogue.sqlite"), "damaged".repeat(1000));
    mkdirSync(join(dataDir, "nights", "not a night"));
    rmSync(join(older, "night.json"));
    const nights = listNights(dataDir);
    expect(nights.map((night) => [night.name, night.frameCount])).toEqual([
      ["second", 0],
      [NIGHT.name, 1],
    ]);
    expect(nights[0]?.problem).toMatch(/damaged/);
    expect(nights[1]?.problem).toBeNull();
  });
});
