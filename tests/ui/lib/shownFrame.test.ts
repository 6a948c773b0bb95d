import { SvelteMap } from "svelte/reactivity";
import { afterEach, beforeEach, expect, test, vi } from "vitest";

import { curvesOf, type NightCurves } from "../../../core/api/nightCurves.ts";
import type { FrameRecord } from "../../../core/watch/frameRecord.ts";
import { HandPicks } from "../../../ui/lib/morning/handPicks.svelte.ts";
import { requestFrame } from "../../../ui/lib/state/frameRequest.ts";
import { HandOrders } from "../../../ui/lib/state/handOrders.svelte.ts";
import { NightTrace } from "../../../ui/lib/state/nightTrace.svelte.ts";
import { ShownFrame } from "../../../ui/lib/state/shownFrame.svelte.ts";
import { ShownRecord } from "../../../ui/lib/state/shownRecord.svelte.ts";
import { pointOf, type TracePoint } from "../../../ui/lib/state/tracePoint.ts";
import { StripView } from "../../../ui/lib/strip/stripView.svelte.ts";
import { makeFrame, makeWatch, NIGHT_ID, NIGHT_START } from "../../support/madeUpNight.ts";

beforeEach(() => void vi.useFakeTimers());
afterEach(() => void vi.useRealTimers());

const OF = { nightId: NIGHT_ID, cameraId: null };
const HOUR_MS = 3_600_000;

/** Eight frames, of which the newest has no picture yet. */
function points(): TracePoint[] {
  return Array.from({ length: 8 }, (_, frameIndex) => ({
    ...pointOf(makeFrame({ frameIndex }))!,
    hasFile: frameIndex < 7,
  }));
}

function shownFrame(of: readonly TracePoint[] = points()) {
  const chosen: number[] = [];
  const shown = new ShownFrame({
    points: () => of,
    chosenIndex: () => chosen.at(-1) ?? null,
    choose: (frameIndex) => chosen.push(frameIndex),
  });
  return { shown, chosen };
}

test("shows the newest frame that has a picture until one is chosen", () => {
  const { shown } = shownFrame();
  expect(shown.point?.frameIndex).toBe(6);
  expect(shown.isFollowing).toBe(true);
});

test("shows the frame under the pointer before the chosen one, which stays chosen", () => {
  const { shown } = shownFrame();
  shown.peekIndex = 2;
  expect([shown.point?.frameIndex, shown.restingIndex, shown.isFollowing]).toEqual([2, 6, false]);
});

test("shows nothing of a night without frames, and steps nowhere", () => {
  const { shown, chosen } = shownFrame([]);
  shown.step(1);
  expect([shown.point, shown.index, chosen]).toEqual([null, null, []]);
});

test.each([
  ["previousFrame", 5],
  ["nextFrame", 7],
  ["tenBack", 0],
  ["tenOn", 7],
  ["firstFrame", 0],
  ["newestFrame", 7],
] as const)("steps from frame 6 by %s to frame %i", (action, frameIndex) => {
  const { shown, chosen } = shownFrame();
  expect(shown.act(action)).toBe(true);
  expect(chosen).toEqual([frameIndex]);
});

test("leaves a key alone that steps nowhere", () => {
  const { shown, chosen } = shownFrame();
  expect(shown.act("pause")).toBe(false);
  expect(chosen).toEqual([]);
});

test("keeps the record before until the next one is fetched, and shows none of another camera's", () => {
  const [first, second] = [makeFrame({ frameIndex: 0 }), makeFrame({ frameIndex: 1 })];
  type Now = { cameraId: string; point: TracePoint | null; pushed: FrameRecord | null };
  const now = new SvelteMap<"now", Now>();
  const at = (): Now => now.get("now")!;
  now.set("now", { cameraId: first.cameraId, point: pointOf(first), pushed: first });
  const known = new ShownRecord({
    cameraId: () => at().cameraId,
    point: () => at().point,
    pushed: () => at().pushed,
  });
  expect(known.record).toBe(first);
  now.set("now", { cameraId: first.cameraId, point: pointOf(second), pushed: null });
  expect(known.record).toBe(first);
  known.take(second);
  expect(known.record).toBe(second);
  now.set("now", { cameraId: "another", point: null, pushed: null });
  expect(known.record).toBe(null);
});

function requested(isPeek: boolean) {
  const fetchRecord = vi.fn(() => Promise.resolve(makeFrame()));
  const onrecord = vi.fn();
  const giveUp = requestFrame({ of: OF, frameIndex: 3, isPeek, onrecord, fetchRecord });
  return { fetchRecord, onrecord, giveUp };
}

test("asks at once for a chosen frame, and for one under the pointer after 120 ms", async () => {
  const [chosen, peeked] = [requested(false), requested(true)];
  await vi.advanceTimersByTimeAsync(119);
  expect(chosen.onrecord).toHaveBeenCalledOnce();
  expect(peeked.fetchRecord).not.toHaveBeenCalled();
  await vi.advanceTimersByTimeAsync(1);
  expect(peeked.fetchRecord).toHaveBeenCalledWith(OF, 3);
});

test("takes no record of a frame that the page has left, asked for or on its way", async () => {
  const [before, onItsWay] = [requested(true), requested(false)];
  before.giveUp();
  vi.advanceTimersByTime(1);
  onItsWay.giveUp();
  await vi.advanceTimersByTimeAsync(200);
  expect(before.fetchRecord).not.toHaveBeenCalled();
  expect(onItsWay.fetchRecord).toHaveBeenCalledOnce();
  expect(onItsWay.onrecord).not.toHaveBeenCalled();
});

test.each([
  ["paused", "startOrResume", ["resume"], "nothing"],
  ["idle", "startOrResume", ["start"], "nothing"],
  ["finished", "startOrResume", ["start"], "nothing"],
  ["watching", "startOrResume", [], "nothing"],
  ["watching", "pause", [], "asking"],
  ["paused", "pause", [], "nothing"],
  ["paused", "stop", [], "asking"],
  ["idle", "stop", [], "nothing"],
] as const)("while a watch is %s, the key of %s orders %j and says %s", (...row) => {
  const [phase, action, kinds, says] = row;
  const send = vi.fn(() => Promise.resolve());
  const hand = new HandOrders({ watch: () => makeWatch({ phase }), send, sentenceOf: String });
  expect(hand.act(action)).toBe(true);
  expect(send.mock.calls.map((call: unknown[]) => (call[1] as { kind: string }).kind)).toEqual(
    kinds,
  );
  expect(hand.said.kind).toBe(says);
});

test("zooms around the frame shown, or around the middle where none is in sight", () => {
  const whole = { startUtcMs: NIGHT_START, endUtcMs: NIGHT_START + 8 * HOUR_MS };
  const view = new StripView(() => whole);
  view.closer(null);
  expect(view.shown).toEqual({
    startUtcMs: NIGHT_START + 2 * HOUR_MS,
    endUtcMs: NIGHT_START + 6 * HOUR_MS,
  });
  expect(view.act("wholeNight", null)).toBe(true);
  expect(view.isWhole).toBe(true);
  view.act("closer", NIGHT_START);
  expect(view.shown).toEqual({
    startUtcMs: NIGHT_START,
    endUtcMs: NIGHT_START + 4 * HOUR_MS,
  });
});

test("takes a word on a frame back when it is said a second time", () => {
  const frame = { cameraId: "one", frameIndex: 3 };
  const picks = new HandPicks(() => [{ ...frame, isByHand: true } as never]);
  expect(picks.of(frame)).toBe("keep");
  expect(picks.say(frame, "leave")).toBe("leave");
  expect(picks.say(frame, "leave")).toBe(null);
  expect(picks.of(frame)).toBe(null);
});

test("asks for another camera's frames once those that are on their way have come", async () => {
  const trace = new NightTrace();
  trace.open(NIGHT_ID, "one");
  const asked: (string | null)[] = [];
  const answers: ((curves: NightCurves) => void)[] = [];
  const fetchCurves = (of: { cameraId: string | null }): Promise<NightCurves> => {
    asked.push(of.cameraId);
    return new Promise((resolve) => answers.push(resolve));
  };
  void trace.catchUp(fetchCurves);
  trace.open(NIGHT_ID, "two");
  await trace.catchUp(fetchCurves);
  expect(asked).toEqual(["one"]);
  answers[0]!(curvesOf([makeFrame()]));
  await vi.waitFor(() => expect(asked).toEqual(["one", "two"]));
  expect(trace.points).toEqual([]);
});
