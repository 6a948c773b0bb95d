import type { NightPlan } from "../../core/night/plan.ts";
import type { TonightActivity, TonightResult } from "../../core/night/rehearseTonight.ts";

/** What a rehearsal's thread is started with. */
export type TonightJob = {
  readonly plan: NightPlan;
  readonly activity: TonightActivity;
  readonly seed: number;
};

/** What it tells. */
export type TonightReport =
  | { readonly kind: "progress"; readonly doneCount: number }
  | { readonly kind: "done"; readonly result: TonightResult }
  | { readonly kind: "failed"; readonly sentence: string };
