/// <reference types="vite/client" />
import { expect, test } from "vitest";

import { STATE_LOOKS, type StateKind } from "../../../core/words/stateWords.ts";
import { utcMs } from "../../../core/units.ts";
import { remainingOf } from "../../../ui/lib/state/remaining.ts";
import { tabOf } from "../../../ui/lib/state/stateLook.ts";
import { makeState, makeWatch, NIGHT_START } from "../../support/madeUpNight.ts";

const KINDS = Object.keys(STATE_LOOKS) as StateKind[];

/** The icons that are there, by their address. */
const ICONS = Object.keys(import.meta.glob("../../../ui/public/*.svg")).map((path) =>
  path.replace("../../../ui/public", ""),
);

test("gives every state its own title in the tab, and an icon that is there", () => {
  const tabs = KINDS.map((kind) => tabOf(makeState(kind), "live"));
  expect(new Set(tabs.map(({ title }) => title)).size).toBe(KINDS.length);
  for (const { icon } of tabs) expect(ICONS).toContain(icon);
  expect(tabOf(makeState("cameraGone"), "live").icon).not.toBe(
    tabOf(makeState("well"), "live").icon,
  );
  expect(tabOf(makeState("pausedByHand"), "live").icon).not.toBe(
    tabOf(makeState("well"), "live").icon,
  );
});

test("never lets the tab say that all is well of a daemon that is silent", () => {
  expect(tabOf(makeState("well"), "lost").title).toBe("? Not reachable");
});

test("tells next frame, battery and card in time that is left of them", () => {
  const watch = makeWatch({
    nextFrameUtcMs: utcMs(NIGHT_START + 8000),
    batteryEndsUtcMs: utcMs(NIGHT_START + 6 * 3_600_000),
    cardEndsUtcMs: utcMs(NIGHT_START + 5 * 3_600_000),
  });
  const reported = (at: number): string[] => remainingOf(watch, at).map(({ value }) => value);
  expect(reported(NIGHT_START)).toEqual(["8 s", "6 h", "5 h"]);
  expect(reported(NIGHT_START + 9000)[0]).toBe("due now");
  expect(remainingOf(makeWatch({ phase: "finished" }), NIGHT_START)).toEqual([]);
});
