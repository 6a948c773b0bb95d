import type { GuardNotice } from "../../core/watch/guardNotice.ts";
import type { SetChange, SetEdits } from "../../core/frames/frameSets.ts";
import type { Framing } from "../../core/frames/keogramAxes.ts";
import type { KitInput } from "../../core/plan/kit.ts";
import type { PlanRequest } from "../../core/plan/plan.ts";
import type { ToneResponse } from "../../core/photometry/response.ts";

/** The camera's tone curve as the meter knew it when the night ended: `ToneResponse`. */
export function toneResponseKey(cameraId: string): string {
  return `tone.${cameraId}`;
}

/** Where the camera looked and through what: `Framing`. */
export function framingKey(cameraId: string): string {
  return `framing.${cameraId}`;
}

/** Guards that spoke during the night, by camera: `GuardNotice[]`. */
export function guardsKey(cameraId: string): string {
  return `guards.${cameraId}`;
}

/** What ended a camera's watch: `EndedBy`. */
export function endedByKey(cameraId: string): string {
  return `endedBy.${cameraId}`;
}

/** What the night was planned with, its kit above all. */
export const PLAN_KEY = "plan";

/** Moments at which framing or focus was changed: `SetChange[]`. */
export const SET_CHANGES_KEY = "sets.changes";

/** What the photographer did to the frame sets: `SetEdits`. */
export const SET_EDITS_KEY = "sets.edits";

/** The types that are kept under these keys. */
export type KeptState = {
  readonly plan: Partial<Omit<PlanRequest, "kit">> & { readonly kit: KitInput };
  readonly toneResponse: ToneResponse;
  readonly framing: Framing;
  readonly guards: readonly GuardNotice[];
  readonly setChanges: readonly SetChange[];
  readonly setEdits: SetEdits;
};
