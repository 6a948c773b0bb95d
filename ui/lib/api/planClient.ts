import type {
  NamedKpFeed,
  PlanAnswer,
  PlanQuery,
  RememberedKit,
  RememberedPlace,
  SensedPlace,
  TonightQuery,
  TonightView,
} from "../../../core/api/planMessages.ts";
import type { Checklist, ChecklistNeeds } from "../../../core/plan/checklist.ts";
import type { KitInput } from "../../../core/plan/kit.ts";
import type { ReportedKit } from "../../../core/plan/kitFromCamera.ts";
import { ApiError, ask, tell } from "./client.ts";

export function fetchPlan(query: PlanQuery): Promise<PlanAnswer> {
  return tell("POST", "/api/plan", query);
}

/** Keeps the plan with tonight's watch, for the report; not kept when no night is open. */
export function keepPlan(query: PlanQuery): Promise<{ readonly isKept: boolean }> {
  return tell("POST", "/api/plan/keep", query);
}

/** The night as a file that a calendar takes. */
export async function fetchCalendar(query: PlanQuery): Promise<Blob> {
  const response = await fetch("/api/plan/calendar", {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(query),
  });
  if (response.ok) return response.blob();
  const { code, sentence } = (await response.json()) as { code: string; sentence: string };
  throw new ApiError(code, sentence);
}

export function fetchKits(): Promise<readonly RememberedKit[]> {
  return ask("/api/kits");
}

export function rememberKit(kit: KitInput): Promise<RememberedKit> {
  return tell("PUT", "/api/kits", kit);
}

export function forgetKit(name: string): Promise<readonly RememberedKit[]> {
  return tell("DELETE", `/api/kits/${encodeURIComponent(name)}`, {});
}

/** The kit with the connected camera's word in it, and which fields that concerns. */
export function askCameraForKit(cameraId: string, kit: KitInput): Promise<ReportedKit> {
  return tell("POST", "/api/kits/reported", { cameraId, kit });
}

export function fetchKpFeed(): Promise<NamedKpFeed> {
  return ask("/api/kp");
}

export function nameKpFeed(url: string | null): Promise<NamedKpFeed> {
  return tell("PUT", "/api/kp", { url });
}

export function fetchPlaces(): Promise<readonly RememberedPlace[]> {
  return ask("/api/places");
}

/** Where the daemon's GNSS receiver stands; null: it has none, or no fix yet. */
export function fetchSensedPlace(): Promise<SensedPlace | null> {
  return ask("/api/places/sensed");
}

export function rememberPlace(
  place: Omit<RememberedPlace, "darkZenithMag">,
): Promise<RememberedPlace> {
  return tell("PUT", "/api/places", place);
}

export function forgetPlace(name: string): Promise<readonly RememberedPlace[]> {
  return tell("DELETE", `/api/places/${encodeURIComponent(name)}`, {});
}

export function fetchChecklist(
  cameraId: string | null,
  ticks: readonly string[],
  needs: ChecklistNeeds,
): Promise<Checklist> {
  const camera = cameraId === null ? {} : { cameraId };
  return tell("POST", "/api/checklist", { ...camera, ticks, needs });
}

export function startTonight(query: TonightQuery): Promise<TonightView> {
  return tell("POST", "/api/tonight", query);
}

export function fetchTonight(): Promise<TonightView> {
  return ask("/api/tonight");
}
