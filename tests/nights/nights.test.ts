import { expect, it } from "vitest";
import { runCampaign } from "../campaigns/campaign.ts";
import { NIGHTS } from "../campaigns/nights.ts";
import { simulateNight } from "./simulatedNight.ts";

it("keeps every promise of the watch through ten nights of ten hours with faults", async () => {
  const { failures, sums } = await runCampaign("nights", NIGHTS, { count: 10, seed: 1 });
  expect(failures).toEqual([]);
  // Nights in which the camera hardly ever watched would try little.
  expect(sums["frames ordered"]).toBeGreaterThan(10_000);
  expect(sums["pictures kept"]).toBeGreaterThan(10_000);
}, 120_000);

it("gives the same night again for the same seed", () => {
  expect(simulateNight(7, 2)).toEqual(simulateNight(7, 2));
});
