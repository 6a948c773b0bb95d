import { DEFAULT_KIT_INPUT, resolveKit, type Kit, type KitInput } from "../../core/plan/kit.ts";
import { planNight, type NightPlan, type PlanRequest } from "../../core/plan/plan.ts";

export function kitWith(changes: Partial<KitInput> = {}): Kit {
  return resolveKit({ ...DEFAULT_KIT_INPUT, ...changes });
}

/** A plan for the invented hut on a moonless November night, with changes. */
export function planWith(changes: Partial<PlanRequest> = {}): NightPlan {
  return planNight({
    latitudeDeg: 68.9,
    longitudeDeg: 27,
    dateIso: "2026-11-10",
    kit: kitWith(),
    ...changes,
  });
}
