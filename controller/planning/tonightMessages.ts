import type { NightPlan } from "../../core/plan/plan.ts";
import type { TonightResult } from "../../core/rehearsal/tonightResult.ts";
import type { TonightWeather } from "../../core/rehearsal/tonightSky.ts";

/** What a rehearsal's thread is started with. */
export type TonightJob = {
  readonly plan: NightPlan;
  readonly weather: TonightWeather;
  readonly seed: number;
};

/** What it tells. */
export type TonightReport =
  | { readonly kind: "progress"; readonly doneCount: number }
  | { readonly kind: "done"; readonly result: TonightResult }
  | { readonly kind: "failed"; readonly sentence: string };
