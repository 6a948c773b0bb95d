import { copyFileSync, mkdirSync, readdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it, onTestFinished } from "vitest";
import { CATALOGUE_FILE, Catalogue } from "../../../controller/archive/catalogue.ts";
import type { NightInfo } from "../../../controller/archive/nightInfo.ts";
import { SCHEMA_VERSION } from "../../../controller/archive/schema.ts";
import { SqliteFile } from "../../../controller/archive/sqliteFile.ts";
import { monotonicMs, utcMs } from "../../../core/units.ts";
import { NIGHT_START_UTC_MS, makeFrame, makeReading } from "../../support/frameRecords.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const NIGHT: NightInfo = {
  name: "Test night",
  startUtcMs: NIGHT_START_UTC_MS,
  latitudeDeg: 68.9,
  longitudeDeg: 27,
  placeName: "Hut Seven",
  isRehearsal: true,
};

function createCatalogue(): Catalogue {
  const catalogue = Catalogue.create(temporaryFolder(), NIGHT);
  onTestFinished(() => {
    catalogue.close();
  });
  return catalogue;
}

describe("catalogue", () => {
  it("gives a frame back exactly as it was put, and the newest version after an update", () => {
    const catalogue = createCatalogue();
    const ordered = makeFrame({ frameIndex: 7, status: "ordered", file: null, reading: null });
    catalogue.putFrame(ordered);
    expect(catalogue.frame("made-up", 7)).toEqual(ordered);
    const kept = makeFrame({ frameIndex: 7 });
    catalogue.putFrame(kept);
    expect(catalogue.frame("made-up", 7)).toEqual(kept);
    expect(catalogue.frameCount()).toBe(1);
    expect(catalogue.frame("other", 7)).toBeNull();
  });

  it("keeps two cameras' frames of the same index apart and lists them by index", () => {
    const catalogue = createCatalogue();
    for (const cameraId of ["b", "a"]) {
      for (const frameIndex of [2, 0, 1]) catalogue.putFrame(makeFrame({ cameraId, frameIndex }));
    }
    expect(catalogue.cameraIds()).toEqual(["a", "b"]);
    const all = catalogue.frames({ fromIndex: 1, count: 3 });
    expect(all.map((frame) => `${frame.cameraId}${frame.frameIndex}`)).toEqual(["a1", "b1", "a2"]);
    const ofB = catalogue.frames({ cameraId: "b", fromIndex: 1, count: 10 });
    expect(ofB.map((frame) => frame.frameIndex)).toEqual([1, 2]);
    expect(catalogue.newest("b")?.frameIndex).toBe(2);
    expect(catalogue.nextFrameIndex("b")).toBe(3);
    expect(catalogue.nextFrameIndex("c")).toBe(0);
  });

  it("replays 2500 events in the order in which they were added", () => {
    const catalogue = createCatalogue();
    catalogue.transaction(() => {
      for (let n = 0; n < 2500; n += 1) {
        catalogue.appendEvent({
          atMs: monotonicMs(n / 2),
          utcMs: utcMs(NIGHT_START_UTC_MS + n),
          kind: "tick",
          body: { n },
        });
      }
    });
    const events = [...catalogue.events()];
    expect(events.map((event) => (event.body as { n: number }).n)).toEqual(
      Array.from({ length: 2500 }, (_, n) => n),
    );
    expect(events[3]?.atMs).toBe(1.5);
    expect([...catalogue.events({ fromPosition: 2499 })]).toHaveLength(2);
  });

  it("finds frames by time and by brightness", () => {
    const catalogue = createCatalogue();
    for (let frameIndex = 0; frameIndex < 20; frameIndex += 1) {
      const reading = makeReading({ skyLuminanceCdM2: frameIndex < 10 ? 0.001 : 0.05 });
      catalogue.putFrame(makeFrame({ frameIndex, reading }));
    }
    const bright = catalogue.find({ luminanceCdM2Min: 0.01 });
    expect(bright.map((frame) => frame.frameIndex)).toEqual([
      10, 11, 12, 13, 14, 15, 16, 17, 18, 19,
    ]);
    const early = catalogue.find({ toUtcMs: NIGHT_START_UTC_MS + 32_000, luminanceCdM2Max: 0.01 });
    expect(early.map((frame) => frame.frameIndex)).toEqual([0, 1, 2]);
  });

  it("keeps state, slices and the photographer's picks over a restart", () => {
    const nightDir = temporaryFolder();
    const first = Catalogue.create(nightDir, NIGHT);
    first.setState("settings", { targetStops: -1.5 });
    first.putSlice("a", 3, { thumbnailJpeg: Uint8Array.of(1, 2), column: null });
    first.putSlice("a", 3, { thumbnailJpeg: null, column: Uint8Array.of(9, 8, 7) });
    first.setPick("a", 3, { pick: "keep", rating: 5 });
    first.setPick("a", 4, { pick: "leave", rating: null });
    first.setPick("a", 4, null);
    first.close();
    const second = Catalogue.open(nightDir);
    expect(second.getState("settings")).toEqual({ targetStops: -1.5 });
    expect(second.getState("nothing")).toBeNull();
    expect([...(second.thumbnail("a", 3) ?? [])]).toEqual([1, 2]);
    expect(second.columns(0, 10).map((stored) => [...stored.column])).toEqual([[9, 8, 7]]);
    expect(second.picks()).toEqual([{ cameraId: "a", frameIndex: 3, pick: "keep", rating: 5 }]);
    expect(second.integrityProblems()).toEqual([]);
    second.close();
  });

  it("writes a frame and its event both or not at all", () => {
    const catalogue = createCatalogue();
    expect(() => {
      catalogue.transaction(() => {
        catalogue.putFrame(makeFrame({ frameIndex: 0 }));
        throw new Error("the step after it failed");
      });
    }).toThrow("the step after it failed");
    expect(catalogue.frameCount()).toBe(0);
  });
});

describe("opening a catalogue", () => {
  it("refuses one of a newer version in one sentence and leaves it untouched", () => {
    const nightDir = temporaryFolder();
    Catalogue.create(nightDir, NIGHT).close();
    const raw = SqliteFile.open(join(nightDir, CATALOGUE_FILE), "write");
    raw.setPragma("user_version", SCHEMA_VERSION + 1);
    raw.close();
    for (const readOnly of [false, true]) {
      expect(() => Catalogue.open(nightDir, { readOnly })).toThrow(
        expect.objectContaining({
          code: "archive.newer",
          message: expect.stringMatching(/newer Nattvakt .* update Nattvakt/) as string,
        }),
      );
    }
    const after = SqliteFile.open(join(nightDir, CATALOGUE_FILE), "write");
    expect(after.pragma("user_version")).toBe(SCHEMA_VERSION + 1);
    after.close();
  });

  it("says that a damaged or foreign file is not a catalogue", () => {
    const nightDir = temporaryFolder();
    writeFileSync(
      join(nightDir, CATALOGUE_FILE),
      "this is no database, however long it may be".repeat(99),
    );
    expect(() => Catalogue.open(nightDir)).toThrow(
      expect.objectContaining({ code: "archive.corrupt" }),
    );
    const foreignDir = temporaryFolder();
    const foreign = SqliteFile.open(join(foreignDir, CATALOGUE_FILE), "create");
    foreign.exec("CREATE TABLE night.cakes (name TEXT)");
    foreign.close();
    expect(() => Catalogue.open(foreignDir, { readOnly: true })).toThrow(
      expect.objectContaining({ code: "archive.corrupt" }),
    );
  });

  it("says that there is no night in an empty folder", () => {
    expect(() => Catalogue.open(temporaryFolder())).toThrow(
      expect.objectContaining({ code: "archive.not_found" }),
    );
  });

  it("brings a night of schema version 1 up to date without losing a frame", () => {
    const nightDir = temporaryFolder();
    const first = Catalogue.create(nightDir, NIGHT);
    first.putFrame(makeFrame({ frameIndex: 1 }));
    first.close();
    const raw = SqliteFile.open(join(nightDir, CATALOGUE_FILE), "write");
    raw.exec(
      "DROP TABLE strays; DROP TABLE sky_columns; DROP TABLE measures; DROP TABLE slices; DROP TABLE picks; PRAGMA night.user_version = 1",
    );
    raw.close();
    const reader = Catalogue.open(nightDir, { readOnly: true });
    expect(reader.picks()).toEqual([]);
    expect(reader.frameCount()).toBe(1);
    reader.close();
    const second = Catalogue.open(nightDir);
    second.setPick("made-up", 1, { pick: "keep", rating: null });
    expect(second.frame("made-up", 1)).toEqual(makeFrame({ frameIndex: 1 }));
    second.close();
  });

  it("reads while another connection writes", () => {
    const catalogue = createCatalogue();
    catalogue.putFrame(makeFrame({ frameIndex: 0 }));
    const reader = Catalogue.open(catalogue.nightDir, { readOnly: true });
    catalogue.putFrame(makeFrame({ frameIndex: 1 }));
    expect(reader.frameCount()).toBe(2);
    expect(() => {
      reader.putFrame(makeFrame({ frameIndex: 2 }));
    }).toThrow(expect.objectContaining({ code: "archive.read_only" }));
    reader.close();
  });

  it("a copy of the file and its log, taken at any instant, holds every committed frame", () => {
    const catalogue = createCatalogue();
    for (let frameIndex = 0; frameIndex < 50; frameIndex += 1) {
      catalogue.putFrame(makeFrame({ frameIndex }));
    }
    const copyDir = join(temporaryFolder(), "copy");
    mkdirSync(copyDir);
    for (const name of readdirSync(catalogue.nightDir)) {
      if (!name.endsWith("-shm")) copyFileSync(join(catalogue.nightDir, name), join(copyDir, name));
    }
    const copy = Catalogue.open(copyDir);
    expect(copy.frameCount()).toBe(50);
    expect(copy.integrityProblems()).toEqual([]);
    copy.close();
  });
});
