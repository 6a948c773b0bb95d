import { expect, test } from "vitest";

import {
  hashOf,
  isNewPlace,
  placeOfHash,
  type PagePlace,
} from "../../../ui/lib/state/pagePlace.ts";

const NOWHERE: PagePlace = {
  part: null,
  nightId: null,
  cameraId: null,
  frameIndex: null,
  stretch: null,
};

test.each<[string, PagePlace]>([
  ["#watch", { ...NOWHERE, part: "watch" }],
  ["#", NOWHERE],
  [
    "#morning?night=2026-11-25_hut-seven&camera=usb+1%2F2&frame=12",
    {
      part: "morning",
      nightId: "2026-11-25_hut-seven",
      cameraId: "usb 1/2",
      frameIndex: 12,
      stretch: null,
    },
  ],
  [
    "#watch?from=2026-11-25T22:10:00.000Z&to=2026-11-25T22:20:00.000Z",
    {
      ...NOWHERE,
      part: "watch",
      stretch: {
        startUtcMs: Date.UTC(2026, 10, 25, 22, 10),
        endUtcMs: Date.UTC(2026, 10, 25, 22, 20),
      },
    },
  ],
])("says %s and understands it", (hash, place) => {
  expect(placeOfHash(hash)).toEqual(place);
  expect(hashOf(place)).toBe(hash);
});

test.each(["#kitchen", "#watch?frame=-1", "#watch?frame=1e3", "#watch?from=now&to=then", "#?&&=%"])(
  "leaves out of %s what it does not understand",
  (hash) => {
    expect({ ...placeOfHash(hash), part: null }).toEqual(NOWHERE);
  },
);

test("gives a way back to parts, nights and the first pick, not to every step", () => {
  const watch: PagePlace = { ...NOWHERE, part: "watch" };
  const picked = { ...watch, frameIndex: 5 };
  expect(isNewPlace(watch, { ...watch, part: "morning" })).toBe(true);
  expect(isNewPlace(watch, picked)).toBe(true);
  expect(isNewPlace(picked, { ...picked, frameIndex: 6 })).toBe(false);
  expect(isNewPlace(watch, { ...watch, stretch: { startUtcMs: 0, endUtcMs: 1 } })).toBe(false);
});
