import { expect, test } from "vitest";
import { TONE_CURVE_UNSURE } from "../../../core/photometry/reading.ts";
import { DEFAULT_WATCH_SETTINGS } from "../../../core/watch/watchSettings.ts";
import {
  aReading,
  anExposure,
  at,
  connectedCamera,
  play,
  started,
} from "../../support/watchFixtures.ts";

const ISO_LADDER = [100, 200, 400, 800, 1600, 3200];

/**
 * The reasons of the first frame that varies its exposure to learn the tone curve, after three
 * frames of 10 s at ISO 100 read `skyStops` each.
 *
 * @param probesLeft  Of the probes, 8 begin with 0.9 stops brighter and 7 with 0.6 stops darker.
 */
function firstProbe(skyStops: number, probesLeft: 7 | 8): readonly string[] {
  const reading = aReading({ skyStops, remarks: [TONE_CURVE_UNSURE] });
  const happened = anExposure({ exposureSeconds: 10, iso: 100 });
  const exposure = { ...DEFAULT_WATCH_SETTINGS.exposure, exposureSecondsMin: 5 };
  const frames = [0, 1, 2].flatMap((frameIndex) => {
    const openMs = 1000 + frameIndex * 12_000;
    return [
      at(openMs, { kind: "shutterOpened", frameIndex }),
      at(openMs + 10_000, { kind: "shutterClosed", frameIndex, happened }),
      at(openMs + 10_100, { kind: "readingArrived", frameIndex, reading }),
      at(openMs + 10_200, { kind: "cameraReady" }),
    ];
  });
  const { effects } = play([
    at(0, started({ exposure, probeCountMax: probesLeft })),
    at(100, connectedCamera({ isoLadder: ISO_LADDER })),
    ...frames,
  ]);
  const probe = effects.find((effect) => effect.kind === "expose" && effect.probeStops !== 0);
  return probe?.kind === "expose" ? probe.reasons : [];
}

test("a probe says by how much it is brighter or darker than wanted", () => {
  expect(firstProbe(-4, 8)[0]).toBe("0.30 stop brighter to learn the tone curve");
  expect(firstProbe(-4, 7)[0]).toBe("0.25 stop darker to learn the tone curve");
});

test("nothing is varied while the shortest exposure leaves no room both ways", () => {
  expect(firstProbe(2, 7)).toEqual([]);
});
