import { expect, it } from "vitest";
import { FrameLinePrinter } from "../../../controller/night/frameLinePrinter.ts";
import { utcMs } from "../../../core/units.ts";
import { makeFrame, makeState, makeWatch } from "../../support/madeUpNight.ts";

function makePrinter() {
  const printed: string[] = [];
  const printer = new FrameLinePrinter((line) => printed.push(line), ["virtual"]);
  /** Numbers of the frames whose lines stand there, and sentences as they are. */
  const lines = () =>
    printed.map((line) => / #(\d+) /.exec(line)?.[1]?.replace(/^0+(?=\d)/, "") ?? line);
  const begin = (frameCount: number) =>
    printer.watch(makeWatch({ phase: "connecting", frameCount }));
  const frame = (frameIndex: number) => printer.frame(makeFrame({ frameIndex }));
  return { printer, lines, begin, frame };
}

it("tells frames 7 to 10 in their order, though 9 and 8 are whole on disk before 7", () => {
  const { lines, begin, frame } = makePrinter();
  begin(7);
  for (const index of [9, 8, 7, 10]) frame(index);
  expect(lines()).toEqual(["7", "8", "9", "10"]);
});

it("tells each frame once", () => {
  const { lines, begin, frame } = makePrinter();
  begin(0);
  expect([frame(0), frame(0)]).toEqual([true, false]);
  expect(lines()).toEqual(["0"]);
});

it("goes on without a frame that does not come once five lines wait for it, and tells it when it comes late", () => {
  const { lines, begin, frame } = makePrinter();
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
  const { printer, lines, begin, frame } = makePrinter();
  begin(0);
  frame(1);
  const stopped = makeState("nothingWatches", { sentence: "The watch was stopped by hand." });
  printer.watch(makeWatch({ phase: "finished", states: [stopped] }));
  expect(lines()).toEqual(["1", "○ The watch was stopped by hand."]);
});

it("says when frames begin while it waits for dark, and no word of a watch that is well", () => {
  const { printer, lines } = makePrinter();
  const sentence = "Waiting for dark: first frame at 18:38 UTC, in 38 min.";
  printer.watch(makeWatch());
  printer.watch(makeWatch({ phase: "waiting", states: [makeState("waiting", { sentence })] }));
  expect(lines()).toEqual([`◷ ${sentence}`]);
});

it("tells a camera that is gone once, though its sentence counts the minutes", () => {
  const { printer, lines } = makePrinter();
  const gone = (sentence: string) =>
    makeWatch({ states: [makeState("cameraGone", { sentence, sinceUtcMs: utcMs(1_000) })] });
  printer.watch(gone("Camera gone since 23:12 UTC (0 s)."));
  printer.watch(gone("Camera gone since 23:12 UTC (2 min)."));
  expect(lines()).toEqual(["✕ Camera gone since 23:12 UTC (0 s)."]);
});

it("tells once that a frame has no picture and why, in its place, and its picture if it comes late", () => {
  const { printer, lines, begin, frame } = makePrinter();
  begin(0);
  for (let times = 0; times < 2; times += 1) printer.missing("virtual", 0, "no file was named");
  frame(1);
  frame(0);
  printer.missing("virtual", 0, "no file was named");
  expect(lines()).toEqual(["0", "1", "0"]);
  expect(printer.counts).toEqual({ metered: 2, missing: 1 });
});

it("says which camera's frame has no picture where there are several", () => {
  const printed: string[] = [];
  const printer = new FrameLinePrinter((line) => printed.push(line), ["left", "right"]);
  printer.watch(makeWatch({ cameraId: "right", phase: "connecting", frameCount: 3 }));
  printer.missing("right", 3, "the camera did not name a file for this frame");
  expect(printed).toEqual([
    "--:--:-- right #0003 has no picture: the camera did not name a file for this frame",
  ]);
});
