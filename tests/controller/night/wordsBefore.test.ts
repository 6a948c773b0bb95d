import { afterEach, beforeEach, expect, it } from "vitest";
import { Catalogue } from "../../../controller/archive/catalogue.ts";
import { createNightFolder } from "../../../controller/archive/nightFolder.ts";
import { withSettingsByHand, wordBefore } from "../../../controller/night/wordsBefore.ts";
import { DEFAULT_WATCH_SETTINGS } from "../../../core/watch/watchSettings.ts";
import { monotonicMs } from "../../../core/units.ts";
import { NIGHT_START_UTC_MS } from "../../support/frameRecords.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

let catalogue: Catalogue;

beforeEach(() => {
  const info = {
    name: "test",
    startUtcMs: NIGHT_START_UTC_MS,
    latitudeDeg: 69,
    longitudeDeg: 27,
    placeName: "made up",
    isRehearsal: true,
  };
  catalogue = Catalogue.create(createNightFolder(temporaryFolder(), info), info);
});

afterEach(() => catalogue.close());

function hear(kind: string, body: object = {}, cameraId = "camera-1"): void {
  const atMs = monotonicMs(catalogue.eventCount() * 1000);
  catalogue.appendEvent({ atMs, utcMs: NIGHT_START_UTC_MS, kind, body: { cameraId, ...body } });
}

it("finds the pause of a killed night, and only of its own camera", () => {
  hear("started");
  hear("started", {}, "camera-2");
  hear("paused", { untilMs: 90_000 });
  hear("frameKept", { frameIndex: 3 });
  const untilMs = monotonicMs(90_000);
  expect(wordBefore(catalogue, "camera-1")).toEqual({ kind: "pause", sinceMs: 2000, untilMs });
  expect(wordBefore(catalogue, "camera-2")).toEqual({ kind: "watch" });
});

it("goes on after a program that ended in order, and not after a stop by hand", () => {
  hear("started");
  hear("stopped", { isProgramEnding: true });
  expect(wordBefore(catalogue, "camera-1")).toEqual({ kind: "watch" });
  hear("started");
  hear("stopped");
  expect(wordBefore(catalogue, "camera-1")).toMatchObject({ kind: "stop" });
});

it("starts again with the ISO cap of 3200 and the target that were set by hand", () => {
  hear("settingsChanged", { exposure: { isoMax: 1600, targetStops: -1.5 } });
  hear("settingsChanged", { exposure: { isoMax: 3200 } });
  const order = withSettingsByHand({ settings: DEFAULT_WATCH_SETTINGS }, catalogue, "camera-1");
  expect(order.settings.exposure).toEqual({
    ...DEFAULT_WATCH_SETTINGS.exposure,
    ...{ isoMax: 3200, targetStops: -1.5 },
  });
});
