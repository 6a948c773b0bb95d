import { expect, test } from "vitest";

import { trialSeconds } from "../../../controller/focus/trialExposure.ts";

const sky = (exposureSeconds: number, iso: number) => ({ exposureSeconds, iso, fNumber: 2.8 });

test("takes 2 s by night, where the sky would take more, and where nothing is known of it", () => {
  expect(trialSeconds(2, { iso: 6400, sky: sky(15, 3200) })).toBe(2);
  expect(trialSeconds(2, { iso: 6400, sky: null })).toBe(2);
});

test("takes what the sky asks for in twilight, carried over to the trial's ISO", () => {
  expect(trialSeconds(2, { iso: 6400, sky: sky(1, 800) })).toBeCloseTo(0.125, 9);
});

test("asks for no less than a hundredth of a second in daylight", () => {
  expect(trialSeconds(2, { iso: 6400, sky: sky(0.001, 100) })).toBe(0.01);
});
