import { describe, expect, it } from "vitest";
import { Catalogue } from "../../../controller/archive/catalogue.ts";
import { createNightFolder } from "../../../controller/archive/nightFolder.ts";
import { earlierNight } from "../../../controller/night/earlierNight.ts";
import { makeFrame, makeReading, NIGHT_START_UTC_MS } from "../../support/frameRecords.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

/** Frames 16 s apart under a sky of so many stops. */
function aNight(skyStops: readonly number[]): Catalogue {
  const info = {
    name: "test",
    startUtcMs: NIGHT_START_UTC_MS,
    latitudeDeg: 69,
    longitudeDeg: 27,
    placeName: "made up",
    isRehearsal: true,
  };
  const catalogue = Catalogue.create(createNightFolder(temporaryFolder(), info), info);
  catalogue.putFrames(
    skyStops.map((stops, frameIndex) =>
      makeFrame({ frameIndex, reading: makeReading({ skyStops: stops }) }),
    ),
  );
  return catalogue;
}

function earlier(catalogue: Catalogue) {
  return earlierNight(catalogue, "made-up", NIGHT_START_UTC_MS);
}

describe("the night before a break", () => {
  it("gives the governor the last 40 of 60 frames, on the night's clock", () => {
    const catalogue = aNight(Array.from({ length: 60 }, () => -2));
    const { nextFrameIndex, history } = earlier(catalogue);
    expect(nextFrameIndex).toBe(60);
    expect(history).toHaveLength(40);
    expect(history[0]).toMatchObject({ frameIndex: 20, openedMs: 320_000, skyStops: -2 });
    catalogue.close();
  });

  it("leaves the break open as the last gap, from the end of the last frame", () => {
    const catalogue = aNight([-2, -2]);
    const { gaps } = earlier(catalogue).earlier!;
    expect(gaps).toEqual([{ startMs: 26_000, endMs: null, why: "no watch was running" }]);
    catalogue.close();
  });

  it("ends with the last frame a surge that the break cut off", () => {
    const catalogue = aNight([...Array.from({ length: 60 }, () => -3), -1.5, -0.5, 0.3, 0.6]);
    const { surges } = earlier(catalogue).earlier!;
    expect(surges).toHaveLength(1);
    expect(surges[0]!.endMs).toBe(63 * 16_000);
    catalogue.close();
  });

  it("knows of nothing before the first frame", () => {
    const catalogue = aNight([]);
    expect(earlier(catalogue)).toEqual({
      nextFrameIndex: 0,
      history: [],
      earlier: { surges: [], gaps: [] },
    });
    catalogue.close();
  });
});
