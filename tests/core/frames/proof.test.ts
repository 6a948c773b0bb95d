import { describe, expect, it } from "vitest";
import { alibiOf, contradictionOf, ownerOf } from "../../../core/frames/proof.ts";
import { makeFrame } from "../../support/frameRecords.ts";

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

describe("whose a picture is", () => {
  const frames = [0, 1, 2].map((frameIndex) =>
    makeFrame({
      ...{ frameIndex, status: "missing", file: null },
      happened: { exposureSeconds: 8, iso: frameIndex === 2 ? 800 : 1600, fNumber: 2.8 },
    }),
  );
  const slack = { seconds: 0.5, clockMs: 3000 };
  const takenIn = (frameIndex: number, iso: number | null) => ({
    exposure: iso === null ? null : { exposureSeconds: 8, iso },
    takenUtcMs: frames[frameIndex]!.openedUtcMs! + 4000,
  });

  it("is the one frame of its time, exposure and ISO", () => {
    expect(ownerOf(frames, takenIn(1, 1600), slack)?.frameIndex).toBe(1);
    expect(ownerOf(frames, takenIn(1, null), slack)?.frameIndex).toBe(1);
  });

  it("is nobody's with another ISO, without a time, or between two that it fits", () => {
    expect(ownerOf(frames, takenIn(2, 1600), slack)).toBeNull();
    expect(ownerOf(frames, { ...takenIn(1, 1600), takenUtcMs: null }, slack)).toBeNull();
    expect(ownerOf(frames, takenIn(1, 1600), { ...slack, clockMs: 60_000 })).toBeNull();
  });

  it("is reported with the seconds by which its time is off", () => {
    expect(alibiOf(frames[1]!, takenIn(0, 1600), slack)).toBe("it was taken 12 s before the frame");
    expect(alibiOf(frames[0]!, takenIn(1, 1600), slack)).toBe("it was taken 9 s after the frame");
    expect(alibiOf(frames[1]!, takenIn(1, 1600), slack)).toBeNull();
  });
});
