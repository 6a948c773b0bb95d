import { simulateNight } from "../nights/simulatedNight.ts";
import type { Campaign } from "./campaign.ts";

const NIGHT_HOURS = 10;

/** Ten hours of watch, governor and reconciliation on simulated time, against a camera that fails. */
export const NIGHTS: Campaign = {
  unit: "night",
  countDefault: 1000,
  unitsPerCase: 1,
  runCase(seed) {
    const { problems, frameCount, keptCount, strayCount, eventCount } = simulateNight(
      seed,
      NIGHT_HOURS,
    );
    const sums = {
      events: eventCount,
      "frames ordered": frameCount,
      "pictures kept": keptCount,
      "pictures on the card alone": strayCount,
    };
    return Promise.resolve({ problems, sums });
  },
};
