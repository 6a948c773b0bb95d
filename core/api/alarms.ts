import { utcMs, type UtcMs } from "../units.ts";
import type { DaemonView, StateNotice } from "./messages.ts";

/** What wakes somebody. */
export type Alarm = {
  /** "trouble" wants a hand; "surge" wants eyes. */
  readonly kind: "trouble" | "surge";
  readonly cameraId: string;
  readonly cameraLabel: string;
  /** Row of the state sentence that it rings for. */
  readonly state: StateNotice["kind"];
  readonly sentence: string;
  readonly atUtcMs: UtcMs;
};

/** Which states were there, and when each was last rung for; by camera and kind. */
export type AlarmMemory = ReadonlyMap<
  string,
  { readonly seenUtcMs: UtcMs; readonly lastUtcMs: UtcMs; readonly rungUtcMs: UtcMs | null }
>;

export const NO_ALARMS: AlarmMemory = new Map();

const MINUTE_MS = 60_000;
/** How long a state stands before an alarm that is not given at once. Source: `AlarmRule`. */
const PATIENCE_MS = 2 * MINUTE_MS;
/** Someone who slept through an alarm hears it again. Judgement. */
const REPEAT_MS = 10 * MINUTE_MS;
/** A state that comes and goes within this is one state, and rings once. Judgement. */
const FORGET_MS = 2 * MINUTE_MS;

/** The alarms that are due now, each state's once and again every ten minutes, and what is to be remembered. */
export function alarmsDue(
  { watches, nowUtcMs }: Pick<DaemonView, "watches" | "nowUtcMs">,
  before: AlarmMemory,
): { readonly alarms: readonly Alarm[]; readonly memory: AlarmMemory } {
  const memory = new Map(
    [...before].filter(([, { lastUtcMs }]) => nowUtcMs - lastUtcMs <= FORGET_MS),
  );
  const alarms: Alarm[] = [];
  for (const { cameraId, cameraLabel, states } of watches) {
    for (const { kind: state, sentence, sinceUtcMs, alarm: rule } of states) {
      const kind = state === "skyActs" ? "surge" : "trouble";
      if (kind === "trouble" && rule === "never") continue;
      const key = `${cameraId} ${state}`;
      const known = memory.get(key);
      const seenUtcMs = known?.seenUtcMs ?? sinceUtcMs ?? nowUtcMs;
      const patienceMs = kind === "surge" || rule === "atOnce" ? 0 : PATIENCE_MS;
      const rungUtcMs = known?.rungUtcMs ?? null;
      const isDue =
        rungUtcMs === null
          ? nowUtcMs - seenUtcMs >= patienceMs
          : kind === "trouble" && nowUtcMs - rungUtcMs >= REPEAT_MS;
      if (isDue) {
        alarms.push({ ...{ kind, cameraId, cameraLabel, state, sentence }, atUtcMs: nowUtcMs });
      }
      memory.set(key, {
        ...{ seenUtcMs: utcMs(seenUtcMs), lastUtcMs: nowUtcMs },
        rungUtcMs: isDue ? nowUtcMs : rungUtcMs,
      });
    }
  }
  return { alarms, memory };
}
