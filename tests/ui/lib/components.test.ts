import { createRawSnippet } from "svelte";
import { cleanup, fireEvent, render, screen, within } from "@testing-library/svelte";
import { afterEach, expect, test, vi } from "vitest";

import type { TonightResult } from "../../../core/rehearsal/tonightResult.ts";
import { monotonicMs, utcMs } from "../../../core/units.ts";
import { idleWatch } from "../../../core/watch/idleWatch.ts";
import { guardTiming } from "../../../core/watch/shutterLateness.ts";
import FrameDetails from "../../../ui/lib/components/FrameDetails.svelte";
import Histogram from "../../../ui/lib/components/Histogram.svelte";
import Marks from "../../../ui/lib/components/Marks.svelte";
import StateRow from "../../../ui/lib/components/StateRow.svelte";
import Stepper from "../../../ui/lib/components/Stepper.svelte";
import Vitals from "../../../ui/lib/components/Vitals.svelte";
import WatchControls from "../../../ui/lib/components/WatchControls.svelte";
import { marksOf } from "../../../ui/lib/state/marks.ts";
import { HandOrders } from "../../../ui/lib/state/handOrders.svelte.ts";
import { actionOf, KEY_BINDINGS } from "../../../ui/lib/keys/keys.ts";
import RehearsalPanel from "../../../ui/lib/plan/RehearsalPanel.svelte";
import { makeFrame, makeState, makeWatch, NIGHT_START } from "../../support/madeUpNight.ts";

afterEach(cleanup);

// jsdom lays nothing out, so it has no observer of sizes; pictures are drawn at width 0 there.
globalThis.ResizeObserver ??= class {
  observe(): void {}
  unobserve(): void {}
  disconnect(): void {}
};

const textOf = (element: HTMLElement): string =>
  (element.textContent ?? "").replaceAll("\u00a0", " ").replaceAll(/\s+/g, " ").trim();

/** What else the state row wants, empty. */
const ROW = {
  remaining: [],
  where: createRawSnippet(() => ({ render: () => "<span></span>" })),
  menu: createRawSnippet(() => ({ render: () => "<span></span>" })),
};

function stepper(value: number | null, onchange = vi.fn()) {
  const rungs = [1, 2, 4, null];
  const write = (one: number | null): string => (one === null ? "off" : String(one));
  render(Stepper, { id: "x", label: "Pace", unit: "s", help: "", value, rungs, write, onchange });
  return onchange;
}

test("steps to the next rung in either direction, also from a value between two", async () => {
  const onchange = stepper(3);
  await fireEvent.click(screen.getByRole("button", { name: "Pace: less" }));
  await fireEvent.click(screen.getByRole("button", { name: "Pace: more" }));
  expect(onchange.mock.calls).toEqual([[2], [4]]);
});

test("steps over the highest rung into off, and no further", async () => {
  const onchange = stepper(4);
  await fireEvent.click(screen.getByRole("button", { name: "Pace: more" }));
  expect(onchange).toHaveBeenCalledWith(null);
  cleanup();
  stepper(null);
  expect(screen.getByRole("button", { name: "Pace: more" })).toHaveProperty("disabled", true);
});

test.each([
  ["2,5", 2.5],
  ["−2", -2],
  ["", null],
])("takes %j as it is typed", async (typed, value) => {
  const onchange = stepper(1);
  const field = screen.getByRole("textbox");
  await fireEvent.input(field, { target: { value: typed } });
  await fireEvent.keyDown(field, { key: "Enter" });
  expect(onchange).toHaveBeenCalledWith(value);
});

test("asks for a number instead of sending a word on", async () => {
  const onchange = stepper(1);
  const field = screen.getByRole("textbox");
  await fireEvent.input(field, { target: { value: "bright" } });
  await fireEvent.keyDown(field, { key: "Enter" });
  expect(onchange).not.toHaveBeenCalled();
  expect(screen.getByText(/Please give a number/)).toBeTruthy();
});

test("says how old the data is when the daemon is lost, before anything the watch said", () => {
  render(StateRow, {
    state: makeState("well"),
    ...{ link: "lost", ageMs: 42_000 },
    ...ROW,
  });
  expect(textOf(screen.getByRole("status"))).toContain("not reachable. What you see is 42 s old");
  expect(textOf(screen.getByRole("status"))).not.toContain("All is well:");
});

test.each([
  ["idle", ["Start the watch"]],
  ["watching", ["Pause", "Stop"]],
  ["paused", ["Stop", "Resume"]],
  ["recovering", ["Pause", "Stop"]],
] as const)("offers, while a watch is %s, only what can be done then", (phase, names) => {
  const watch = makeWatch({ phase, frameCount: 0 });
  const hand = new HandOrders({ watch: () => watch, send: vi.fn(), sentenceOf: String });
  render(WatchControls, { watch, hand });
  const usable = screen
    .getAllByRole("button")
    .filter((button) => !(button as HTMLButtonElement).disabled);
  expect(usable.map((button) => textOf(button).replace("hold 1 s", ""))).toEqual(names);
});

test("names each channel's clipped share and marks those over the limit in words", () => {
  const { reading } = makeFrame();
  render(Histogram, { reading: reading!, clippedShareMax: 0.002 });
  const [red, green, blue] = screen.getAllByRole("listitem").map(textOf);
  expect(red).toBe("Red 0 %");
  expect(green).toBe("Green 0.31 % ▲ over your limit");
  expect(blue).toBe("Blue 0 %");
});

test("shows what happened rather than what was ordered, and every reason", () => {
  const frame = makeFrame({ happened: { exposureSeconds: 4.2, iso: 1600, fNumber: 1.4 } });
  render(FrameDetails, { frame, clippedShareMax: 0.002 });
  const text = textOf(screen.getByTestId("frame-details"));
  for (const part of ["4.2 s", "1600", "f/1.4", "−0.04", ...frame.reasons]) {
    expect(text).toContain(part);
  }
});

test("says that a frame is not metered yet instead of showing empty figures", () => {
  render(FrameDetails, { frame: makeFrame({ reading: null }), clippedShareMax: 0.002 });
  expect(textOf(screen.getByTestId("frame-details"))).toContain("Not metered yet.");
});

test("says what is not known of battery and card, and counts down to the end", () => {
  render(Vitals, {
    watch: makeWatch({ batteryPercent: null, cardFreeBytes: null, cardFreeFrames: null }),
    nightNowUtcMs: NIGHT_START + 3_600_000,
    freeDiskBytes: null,
  });
  const text = textOf(document.body);
  expect(text.match(/not known/g)?.length).toBe(2);
  expect(text).toContain("13 h");
  expect(text).toContain("until dawn");
});

test.each([
  ["about 5 h 30 min at this pace", 6.5],
  ["enough for tonight", 14.5],
])("says of a battery that is to last until hour 14: %s", (sentence, endHour) => {
  render(Vitals, {
    watch: makeWatch({ batteryEndsUtcMs: utcMs(NIGHT_START + endHour * 3_600_000) }),
    nightNowUtcMs: NIGHT_START + 3_600_000,
    freeDiskBytes: null,
  });
  expect(textOf(screen.getByText(/%/))).toContain(sentence);
});

test.each([
  ["enough for tonight", 10_000],
  ["room for 1 200 frames, full in about 3 h 26 min", 1234],
])("says of a card at one frame in 10 s: %s", (sentence, cardFreeFrames) => {
  render(Vitals, {
    watch: makeWatch({
      cardFreeFrames,
      cardEndsUtcMs: utcMs(NIGHT_START + 3_600_000 + cardFreeFrames * 10_000),
    }),
    nightNowUtcMs: NIGHT_START + 3_600_000,
    freeDiskBytes: null,
  });
  expect(textOf(document.body).replaceAll("\u202f", " ")).toContain(sentence);
});

const BAND = { p10: 0.8, p50: 0.9, p90: 0.95 };
const RESULT: TonightResult = {
  activity: "moderate",
  cloudiness: "some",
  seed: 1,
  skyCount: 100,
  watchHours: 6,
  frames: { p10: 1200, p50: 1500, p90: 1900 },
  wellExposedShare: BAND,
  clippedShare: { p10: 0, p50: 0, p90: 0.01 },
  cloudedShare: { p10: 0, p50: 0.15, p90: 0.58 },
  cloudedOutShare: 0.01,
  clearAndWellShare: { p10: 0.4, p50: 0.85, p90: 1 },
  longestGapSeconds: { p10: 1, p50: 1.5, p90: 90 },
  isoShares: [{ iso: 1600, share: 1 }],
  cardGigabytes: { p10: 30, p50: 38, p90: 48 },
  cardFreeGigabytesAtDawn: { p10: 80, p50: 90, p90: 98 },
  cardFullShare: 0,
  batteries: 2,
  batteryPercentAtDawn: 43,
  slices: [0, 1].map((hour) => ({
    time: new Date(NIGHT_START + hour * 3_600_000).toISOString(),
    skyMagArcsec2: { p10: 19, p50: 20, p90: 21 },
    exposureSeconds: { p10: 4, p50: 8, p90: 15 },
    iso: { p10: 800, p50: 1600, p90: 3200 },
    errorStops: { p10: -0.1, p50: 0, p90: 0.1 },
    cloudedShare: 0.2,
  })),
  sentence: "Expect about 1500 frames.",
};

test("tells what a rehearsal of tonight expects, in low, middle and high tenths", () => {
  render(RehearsalPanel, {
    tonight: { kind: "done", id: "one", result: RESULT },
    weather: { activity: "moderate", cloudiness: "some" },
    refusal: null,
    onweather: vi.fn(),
    onstart: vi.fn(),
  });
  const cellsOf = (name: RegExp): string[] =>
    within(screen.getByRole("row", { name })).getAllByRole("cell").map(textOf);
  expect(cellsOf(/Well exposed frames/)).toEqual(["80 %", "90 %", "95 %"]);
  expect(cellsOf(/Frames under cloud/)).toEqual(["0 %", "15 %", "58 %"]);
  expect(cellsOf(/Longest gap/)).toEqual(["1 s", "1.5 s", "2 min"]);
  expect(textOf(document.body)).toContain("2 batteries; the last one is at 43 % at dawn.");
});

test("knows every key of its list, and leaves them alone in a field or when switched off", () => {
  const press = (key: string, init: KeyboardEventInit = {}, on = true) =>
    actionOf(new KeyboardEvent("keydown", { key, ...init }), { areSingleKeysOn: on });
  for (const { action, keys, withShift } of KEY_BINDINGS) {
    for (const key of keys) expect(press(key, { shiftKey: withShift ?? false })).toBe(action);
  }
  expect(press("r", {}, false)).toBeNull();
  expect(press("Escape", {}, false)).toBe("close");
  expect(press("r", { ctrlKey: true })).toBeNull();
  const field = document.body.appendChild(document.createElement("input"));
  let inField: unknown = "unset";
  field.addEventListener("keydown", (event) => {
    inField = actionOf(event, { areSingleKeysOn: true });
  });
  field.dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowLeft" }));
  expect(inField).toBeNull();
  field.remove();
});

test("notes on the page when the shutter has closed 40 ms late, with what to do, and not before", () => {
  const show = (lateMs: number): void => {
    let { known } = idleWatch();
    for (let frame = 0; frame < 20; frame += 1) {
      const closing = { lateMs, scheduling: "ordinary" } as const;
      known = guardTiming(known, closing, monotonicMs(10_000 * frame));
    }
    const guards = known.guards.map(({ sinceMs, ...guard }) => ({
      ...guard,
      sinceUtcMs: utcMs(NIGHT_START + sinceMs),
    }));
    render(Marks, { marks: marksOf(makeWatch({ guards })), onselect: vi.fn() });
  };
  show(19);
  expect(screen.getByText("No surge, gap or guard so far.")).toBeTruthy();
  cleanup();
  show(40);
  expect(textOf(screen.getByRole("button"))).toMatch(
    /Timing, note: The shutter closes late .*40 ms or more .*service.*real-time scheduling.*end other programs/,
  );
});
