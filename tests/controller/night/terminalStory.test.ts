import { expect, it } from "vitest";
import { TerminalStory } from "../../../controller/night/terminalStory.ts";
import { utcMs } from "../../../core/units.ts";
import { makeFrame, makeWatch } from "../../support/madeUpNight.ts";

function story() {
  const printed: string[] = [];
  const told = new TerminalStory((line) => printed.push(line), ["virtual"]);
  /** Numbers of the frames whose lines stand there, and sentences as they are. */
  const lines = () =>
    printed.map((line) => / #(\d+) /.exec(line)?.[1]?.replace(/^0+(?=\d)/, "") ?? line);
  const begin = (frameCount: number) => told.watch(makeWatch({ phase: "connecting", frameCount }));
  const frame = (frameIndex: number) => told.frame(makeFrame({ frameIndex }));
  return { told, lines, begin, frame };
}

it("tells frames 7 to 10 in their order, though 9 and 8 are whole on disk before 7", () => {
  const { lines, begin, frame } = story();
  begin(7);
  for (const index of [9, 8, 7, 10]) frame(index);
  expect(lines()).toEqual(["7", "8", "9", "10"]);
});

it("tells each frame once", () => {
  const { lines, begin, frame } = story();
  begin(0);
  expect([frame(0), frame(0)]).toEqual([true, false]);
  expect(lines()).toEqual(["0"]);
});

it("goes on without a frame that does not come once five lines wait for it, and tells it when it comes late", () => {
  const { lines, begin, frame } = story();
  begin(0);
  for (const index of [1, 2, 3, 4]) frame(index);
  expect(lines()).toEqual([]);
  frame(5);
  expect(lines()).toEqual(["1", "2", "3", "4", "5"]);
  frame(0);
  frame(6);
  expect(lines().slice(5)).toEqual(["0", "6"]);
});

it("tells what still waits before it says that the watch is over", () => {
  const { told, lines, begin, frame } = story();
  begin(0);
  frame(1);
  told.watch(makeWatch({ phase: "finished", sentence: "The watch was stopped by hand." }));
  expect(lines()).toEqual(["1", "The watch was stopped by hand."]);
});

it("says when frames begin while it waits for dark, and no other word of a watch that is well", () => {
  const { told, lines } = story();
  const startsUtcMs = utcMs(Date.UTC(2027, 2, 24, 18, 38));
  told.watch(makeWatch());
  told.watch(makeWatch({ phase: "waiting", sentence: "Waiting for dark.", startsUtcMs }));
  expect(lines()).toEqual(["Waiting for dark. Frames begin at 2027-03-24 18:38 UTC."]);
});
