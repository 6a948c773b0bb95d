import { expect, test } from "vitest";

import { EMPTY_SEARCH, searchOf } from "../../../ui/lib/morning/searchDraft.ts";

const nightStartUtcMs = new Date(2026, 10, 25, 17, 30).getTime();
const of = { nightStartUtcMs, cameraId: "camera-1" };

test("takes times before midnight as the evening's, and after it as the morning's", () => {
  const search = searchOf({ ...EMPTY_SEARCH, from: "22:30", to: "1.15" }, of);
  expect(search).toMatchObject({
    kind: "search",
    search: {
      fromUtcMs: new Date(2026, 10, 25, 22, 30).getTime(),
      toUtcMs: new Date(2026, 10, 26, 1, 15).getTime(),
      cameraId: "camera-1",
    },
  });
});

test("takes brightness in thousandths, as it is shown: 4,2 mcd/m² is 0.0042", () => {
  const search = searchOf({ ...EMPTY_SEARCH, brighterThan: "4,2" }, of);
  expect(search).toMatchObject({ search: { brighterThanCdM2: 0.0042, darkerThanCdM2: null } });
});

test.each([
  [{ from: "25:00" }, /^A time is written/],
  [{ to: "late" }, /^A time is written/],
  [{ darkerThan: "-1" }, /^A sky brightness is a number/],
])("says of %j in one sentence what cannot be read", (change, sentence) => {
  expect(searchOf({ ...EMPTY_SEARCH, ...change }, of)).toEqual({
    kind: "unclear",
    sentence: expect.stringMatching(sentence) as string,
  });
});
