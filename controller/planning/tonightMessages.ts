import type { NightPlan } from "../../core/night/plan.ts";
import type { TonightResult } from "../../core/night/tonightResult.ts";
import type { TonightWeather } from "../../core/night/tonightSky.ts";

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
