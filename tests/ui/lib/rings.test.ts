import { expect, test } from "vitest";

import { NO_ALARMS } from "../../../core/api/alarms.ts";
import { utcMs } from "../../../core/units.ts";
import { isQuiet, ringOfSilence, ringOfView } from "../../../ui/lib/alarm/rings.ts";
import { makeState, makeWatch, NIGHT_START } from "../../support/madeUpNight.ts";

const viewOf = (...kinds: Parameters<typeof makeState>[0][]) => ({
  nowUtcMs: NIGHT_START,
  watches: [makeWatch({ states: kinds.map((kind) => makeState(kind, { sentence: kind })) })],
});

test("rings once for a shutter that may be open, and not again with the next message", () => {
  const first = ringOfView(viewOf("shutterLoose"), NO_ALARMS);
  expect(first.ring).toEqual({ sound: "trouble", sentence: "shutterLoose" });
  expect(ringOfView(viewOf("shutterLoose"), first.memory).ring).toBeNull();
});

test("makes one sound at a time, trouble before a surge", () => {
  const { ring } = ringOfView(viewOf("skyActs", "shutterLoose"), NO_ALARMS);
  expect(ring).toEqual({ sound: "trouble", sentence: "shutterLoose" });
  expect(ringOfView(viewOf("skyActs"), NO_ALARMS).ring?.sound).toBe("surge");
});

test("waits two minutes with what mends itself, and rings for nothing while all is well", () => {
  const gone = viewOf("cameraGone");
  const first = ringOfView(gone, NO_ALARMS);
  expect(first.ring).toBeNull();
  const later = { ...gone, nowUtcMs: utcMs(NIGHT_START + 120_000) };
  expect(ringOfView(later, first.memory).ring?.sound).toBe("trouble");
  expect(ringOfView(viewOf("well"), NO_ALARMS).ring).toBeNull();
});

test("rings once for a daemon that is silent for 20 s, and again only after it was heard", () => {
  const lost = { link: "lost", ageMs: 20_000 } as const;
  expect(ringOfSilence({ ...lost, ageMs: 19_999 }, false)).toEqual({ ring: null, hasRung: false });
  expect(ringOfSilence(lost, false)).toMatchObject({ ring: { sound: "silent" }, hasRung: true });
  expect(ringOfSilence(lost, true)).toEqual({ ring: null, hasRung: true });
  expect(ringOfSilence({ link: "live", ageMs: 0 }, true).hasRung).toBe(false);
});

test.each([
  [23.5, true],
  [6.99, true],
  [7, false],
  [22.99, false],
])("is quiet from 23 to 7, over midnight: at %d h", (hour, expected) => {
  expect(isQuiet(hour, { fromHour: 23, toHour: 7 })).toBe(expected);
});

test("is quiet from 7 to 16 within a day, and never without hours", () => {
  expect([6, 7, 15.9, 16].map((hour) => isQuiet(hour, { fromHour: 7, toHour: 16 }))).toEqual([
    ...[false, true, true, false],
  ]);
  expect(isQuiet(12, null)).toBe(false);
});
