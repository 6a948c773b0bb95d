import type { DaemonView } from "../../../core/api/messages.ts";

/** The three parts of one evening. */
export type Part = "before" | "watch" | "morning";

/** Parts that this page has, in the order of the evening. */
export const PARTS: readonly Part[] = ["before", "watch", "morning"];

/** The part that is due: a running watch first of all, then what was or what comes. */
export function partDue(view: DaemonView | null, parts: readonly Part[] = PARTS): Part {
  const phases = (view?.watches ?? []).map(({ phase }) => phase);
  const isRunning = phases.some((phase) => phase !== "idle" && phase !== "finished");
  const due: Part = isRunning
    ? "watch"
    : phases.includes("finished")
      ? "morning"
      : view === null
        ? "watch"
        : "before";
  return parts.includes(due) ? due : "watch";
}
