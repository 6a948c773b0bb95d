import { expect, it } from "vitest";
import { contradictionOf } from "../../../core/frames/proof.ts";

const frame = { exposureSeconds: 8.2, iso: 1600, fNumber: 2.8 };

it.each([
  ["the rounded 8 s", { exposureSeconds: 8, iso: 1600 }],
  ["a third of a stop more", { exposureSeconds: 10, iso: 1600 }],
])("believes a frame of 8.2 s whose file says %s", (_what, reported) => {
  expect(contradictionOf(frame, reported, 0.5)).toBeNull();
});

it.each([
  ["another length", { exposureSeconds: 2, iso: 1600 }, "2 s at ISO 1600"],
  ["another ISO", { exposureSeconds: 8, iso: 3200 }, "8 s at ISO 3200"],
])("says that a file with %s may be another picture", (_what, reported, text) => {
  expect(contradictionOf(frame, reported, 0.5)).toBe(
    `its file says ${text}, the frame was 8.2 s at ISO 1600: it may be another picture`,
  );
});

it("leaves room for half a second that the host may be wrong by", () => {
  const short = { ...frame, exposureSeconds: 0.5 };
  expect(contradictionOf(short, { exposureSeconds: 0.9, iso: 1600 }, 0.5)).toBeNull();
});
