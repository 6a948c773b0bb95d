import type { ReadySet } from "./readySet.ts";
import type { MeasuredNight } from "./measureNight.ts";
import type { NightToDeliver } from "./nightToDeliver.ts";

/** What the works over a whole night are made from. */
export type WorksInput = {
  readonly night: NightToDeliver;
  readonly ready: readonly ReadySet[];
  readonly measured: MeasuredNight;
  readonly outDir: string;
};
