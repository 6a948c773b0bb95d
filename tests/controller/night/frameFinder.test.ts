import { afterEach, beforeEach, describe, expect, it } from "vitest";
import { Catalogue } from "../../../controller/archive/catalogue.ts";
import { createNightFolder } from "../../../controller/archive/nightFolder.ts";
import { FrameFinder } from "../../../controller/night/frameFinder.ts";
import { utcMs } from "../../../core/units.ts";
import { makeFrame, NIGHT_START_UTC_MS } from "../../support/frameRecords.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

/** A body that writes the same false exposure into every file, at the right time. */
const FALSE_EXPOSURE = { exposureSeconds: 1 / 60, iso: 100 };

describe("whose a picture is, from a body whose files report a false exposure", () => {
  let catalogue: Catalogue;
  let finder: FrameFinder;
  const frame = makeFrame({ frameIndex: 7, status: "taken", file: null, reading: null });
  const earlier = makeFrame({ frameIndex: 6, status: "taken", file: null, reading: null });
  const word = { exposure: FALSE_EXPOSURE, takenUtcMs: utcMs(frame.openedUtcMs! + 1000) };

  beforeEach(() => {
    const night = {
      ...{ name: "test", startUtcMs: NIGHT_START_UTC_MS, placeName: "made up" },
      ...{ latitudeDeg: 69, longitudeDeg: 27, isRehearsal: true },
    };
    catalogue = Catalogue.create(createNightFolder(temporaryFolder(), night), night);
    catalogue.putFrames([earlier, frame]);
    finder = new FrameFinder({ catalogue, cameraId: "made-up", rate: 1 });
  });

  afterEach(() => catalogue.close());

  function prove(count: number, doubt: string | null = "its file says 0.0167 s at ISO 100"): void {
    for (let index = 0; index < count; index += 1) finder.noteProved(doubt);
  }

  it("doubts its card after two proved pictures that contradict their frames", () => {
    prove(2);
    expect(finder.alibiIn(frame, word)).toMatch(/it may be another picture/);
    expect(finder.owner(word)).toBeNull();
  });

  it("goes by time alone after three, and gives no picture to a frame of another time", () => {
    prove(3);
    expect(finder.alibiIn(frame, word)).toBeNull();
    expect(finder.owner(word)?.frameIndex).toBe(7);
    expect(finder.alibiIn(earlier, word)).toMatch(/it was taken \d+ s after the frame/);
  });

  it("believes the files again when one agrees with its frame", () => {
    prove(3);
    prove(1, null);
    expect(finder.alibiIn(frame, word)).toMatch(/it may be another picture/);
  });
});
