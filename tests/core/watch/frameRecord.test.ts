import { expect, it } from "vitest";
import { changedFrame } from "../../../core/watch/frameRecord.ts";
import { makeFrame } from "../../support/frameRecords.ts";

const HAPPENED = { exposureSeconds: 9, iso: 800, fNumber: 2 };

it.each(["taken", "missing"] as const)(
  "keeps a kept frame kept when a late event calls it %s",
  (status) => {
    const kept = makeFrame({ frameIndex: 0, status: "kept" });
    expect(changedFrame(kept, { status, happened: HAPPENED })).toMatchObject({
      status: "kept",
      happened: HAPPENED,
    });
  },
);

it("lets a frame without its file become missing", () => {
  const taken = makeFrame({ frameIndex: 0, status: "taken", file: null });
  expect(changedFrame(taken, { status: "missing" }).status).toBe("missing");
});
