import { expect, test } from "vitest";

import { curvesOf } from "../../../core/api/nightCurves.ts";
import { NO_EDITS, type FrameSet } from "../../../core/frames/frameSets.ts";
import { cutAt, joined, marked, named, unmarked } from "../../../ui/lib/morning/setEdits.ts";
import { eveningDate } from "../../../core/sky/evening.ts";
import { shiftedDate, zoneFor } from "../../../ui/lib/plan/planDraft.ts";
import { Daemon } from "../../../ui/lib/state/daemon.svelte.ts";
import { marksOf } from "../../../ui/lib/state/marks.ts";
import { NightTrace } from "../../../ui/lib/state/nightTrace.svelte.ts";
import { partDue } from "../../../ui/lib/state/part.ts";
import { Preferences } from "../../../ui/lib/state/preferences.svelte.ts";
import { breaksOf } from "../../../ui/lib/strip/lanes.ts";
import { timeScale, timeTicks, wholeNight } from "../../../ui/lib/strip/timeScale.ts";
import {
  makeFrame,
  makeView,
  makeWatch,
  NIGHT_ID,
  NIGHT_START,
} from "../../support/madeUpNight.ts";

const frames = (count: number) =>
  Array.from({ length: count }, (_, frameIndex) => makeFrame({ frameIndex }));

test("keeps the night's time going at its rate, and holds it while nobody answers", () => {
  const daemon = new Daemon();
  daemon.apply({ kind: "state", state: makeView({ rate: 10 }) }, 1000);
  daemon.tick(3000);
  expect(daemon.nightNowUtcMs).toBe(NIGHT_START + 20_000);
  daemon.lose();
  expect(daemon.nightNowUtcMs).toBe(NIGHT_START);
  expect(daemon.ageMs).toBe(2000);
});

test("joins what was fetched and what was pushed, in order and without doubles", () => {
  const trace = new NightTrace();
  trace.open(NIGHT_ID);
  const [first, second, third, fourth] = frames(4);
  trace.applyFrame(NIGHT_ID, { ...fourth!, reading: null });
  trace.applyCurves(NIGHT_ID, curvesOf([first!, second!, third!]));
  trace.applyFrame(NIGHT_ID, fourth!);
  expect(trace.points.map(({ frameIndex }) => frameIndex)).toEqual([0, 1, 2, 3]);
  expect(trace.points[3]?.fromTargetStops).toBeCloseTo(-0.04);
  expect(trace.knownUpTo).toBe(4);
});

test("asks again from the first frame that is missing or has no file yet", () => {
  const trace = new NightTrace();
  trace.open(NIGHT_ID);
  const [first, , third] = frames(3);
  trace.applyCurves(NIGHT_ID, curvesOf([first!, third!]));
  expect(trace.knownUpTo).toBe(1);
  expect(trace.lastIndex).toBe(2);
});

test("takes no frame of another night, and forgets the last night's", () => {
  const trace = new NightTrace();
  trace.open(NIGHT_ID);
  trace.applyFrame("2001-01-01_other", makeFrame());
  expect(trace.points).toEqual([]);
  trace.applyFrame(NIGHT_ID, makeFrame());
  trace.open("2001-01-01_other");
  expect(trace.points).toEqual([]);
});

test("gives no place on the strip to a frame whose shutter never opened", () => {
  const trace = new NightTrace();
  trace.open(NIGHT_ID);
  trace.applyCurves(NIGHT_ID, curvesOf([makeFrame({ openedUtcMs: null, status: "missing" })]));
  expect(trace.points).toEqual([]);
  expect(trace.lastIndex).toBe(0);
});

test("breaks a curve at a pause much longer than the frames around it, and nowhere else", () => {
  const trace = new NightTrace();
  trace.open(NIGHT_ID);
  const late = makeFrame({ frameIndex: 3, openedUtcMs: (NIGHT_START + 400_000) as never });
  trace.applyCurves(NIGHT_ID, curvesOf([...frames(3), late]));
  expect([...breaksOf(trace.points)]).toEqual([3]);
});

test("goes from time to place on the strip and back", () => {
  const scale = timeScale({ startUtcMs: NIGHT_START, endUtcMs: NIGHT_START + 1000, widthPx: 500 });
  expect(scale.xOf(NIGHT_START + 250)).toBe(125);
  expect(scale.utcOf(125)).toBe(NIGHT_START + 250);
});

test("puts the times at round moments, never closer than their labels", () => {
  const scale = timeScale({
    startUtcMs: NIGHT_START,
    endUtcMs: NIGHT_START + 14 * 3_600_000,
    widthPx: 1280,
  });
  const ticks = timeTicks(scale);
  expect(ticks.length).toBe(14);
  expect(ticks.every((tick) => tick % 3_600_000 === 0)).toBe(true);
});

test("shows the whole night to its expected end", () => {
  const night = {
    nightStartUtcMs: NIGHT_START,
    firstOpenedUtcMs: NIGHT_START + 1000,
    newestUtcMs: NIGHT_START + 7_200_000,
    endsUtcMs: NIGHT_START + 36_000_000,
  };
  expect(wholeNight(night)).toEqual({
    startUtcMs: NIGHT_START,
    endUtcMs: NIGHT_START + 36_000_000,
  });
});

test("opens on the watch while one runs, whatever the others do", () => {
  const view = makeView({
    watches: [makeWatch({ phase: "finished" }), makeWatch({ phase: "recovering" })],
  });
  expect(partDue(view)).toBe("watch");
  expect(partDue(makeView({ watches: [makeWatch({ phase: "finished" })] }))).toBe("morning");
  expect(partDue(makeView({ watches: [] }))).toBe("before");
  expect(partDue(null)).toBe("watch");
});

test("tells surges, gaps and guards in the order they came", () => {
  const at = (seconds: number) => (NIGHT_START + seconds * 1000) as never;
  const marks = marksOf(
    makeWatch({
      surges: [{ startUtcMs: at(90), endUtcMs: null, riseStops: 2 }],
      gaps: [{ startUtcMs: at(30), endUtcMs: at(50), why: "the cable came loose" }],
      guards: [{ guard: "dew", level: "warning", sentence: "Heat the lens.", sinceUtcMs: at(60) }],
    }),
  );
  expect(marks.map(({ kind }) => kind)).toEqual(["gap", "guard", "surge"]);
  expect(marks[0]?.sentence).toBe("for 20 s, the cable came loose");
  expect(marks[2]?.sentence).toContain("still going on");
});

test("dims to nothing, wakes when it is touched, and survives a spoilt memory", () => {
  localStorage.setItem("nattvakt.preferences", "{not json");
  const preferences = new Preferences(localStorage);
  for (let press = 0; press < 20; press += 1) preferences.dim();
  expect(preferences.brightness).toBe(0);
  expect(preferences.wake()).toBe(true);
  expect(preferences.brightness).toBeGreaterThan(0);
  expect(preferences.brightness).toBeLessThan(0.1);
  expect(preferences.wake()).toBe(false);
  preferences.save(localStorage);
  expect(new Preferences(localStorage).brightness).toBe(preferences.brightness);
  expect(new Preferences(null).brightness).toBe(1);
});

const SET: FrameSet = {
  setId: "virtual-000004",
  name: "Set 2",
  cameraId: "virtual",
  beganBy: "pace",
  frameIndices: [4, 5, 6, 7],
  inFrameIndex: 4,
  outFrameIndex: 7,
  frameCount: 4,
  startUtcMs: null,
  endUtcMs: null,
  pace: "full",
};

test("edits frame sets: name, in and out, cut and join undo one another", () => {
  const name = named(NO_EDITS, SET, "  Breakup ");
  expect(name.names).toEqual({ "virtual-000004": "Breakup" });
  expect(named(name, SET, "").names).toEqual({});
  const narrow = marked(NO_EDITS, SET, { out: 5 });
  expect(narrow.marks).toEqual({ "virtual-000004": { in: 4, out: 5 } });
  expect(marked(NO_EDITS, { ...SET, inFrameIndex: 6 }, { out: 5 }).marks).toEqual({
    "virtual-000004": { in: 5, out: 6 },
  });
  expect(unmarked(narrow, SET)).toEqual(NO_EDITS);
  const cut = cutAt(NO_EDITS, SET, 4);
  expect(cut.cuts).toEqual([{ cameraId: "virtual", frameIndex: 4 }]);
  expect(joined(cut, SET)).toMatchObject({
    cuts: [],
    joins: [{ cameraId: "virtual", frameIndex: 4 }],
  });
});

test("counts evenings by the laptop's zone where its clock can be the place's, whatever the day", () => {
  const anadyr = { zone: "Asia/Anadyr", longitudeByClockDeg: 180 };
  expect(zoneFor(-173.23, anadyr)).toBe("Asia/Anadyr");
  expect(zoneFor(177.5, anadyr)).toBe("Asia/Anadyr");
  expect(zoneFor(27, anadyr)).toBeUndefined();
  expect(zoneFor(76, { zone: "Asia/Shanghai", longitudeByClockDeg: 120 })).toBe("Asia/Shanghai");
});

test("counts the hours after midnight to the evening before", () => {
  expect(eveningDate(Date.UTC(2026, 10, 26, 1), { longitudeDeg: 27, zone: null })).toBe(
    "2026-11-25",
  );
  expect(eveningDate(Date.UTC(2026, 10, 25, 15), { longitudeDeg: 27, zone: null })).toBe(
    "2026-11-25",
  );
  expect(eveningDate(Date.UTC(2026, 10, 25, 5), { longitudeDeg: -150, zone: null })).toBe(
    "2026-11-24",
  );
  expect(shiftedDate("2026-02-28", 1)).toBe("2026-03-01");
  expect(shiftedDate("soon", 1)).toBe("soon");
});
