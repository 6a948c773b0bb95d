import { alarmsDue, type AlarmMemory } from "../../../core/api/alarms.ts";
import type { DaemonView } from "../../../core/api/messages.ts";
import { alarmWords } from "../../../core/words/alarmWords.ts";
import type { LinkState } from "../state/daemon.svelte.ts";
import type { SoundName } from "./sounds.ts";

/** One ringing of the page. */
export type Ring = { readonly sound: SoundName; readonly sentence: string };

/** A link that comes back within this does not ring: a phone's network drops out for as long. Judgement. */
const SILENT_MS = 20_000;

/** What rings for the daemon's newest report, and what is to be remembered. Trouble goes before a surge: one sound at a time. */
export function ringOfView(
  view: Pick<DaemonView, "watches" | "nowUtcMs">,
  before: AlarmMemory,
): { readonly ring: Ring | null; readonly memory: AlarmMemory } {
  const { alarms, memory } = alarmsDue(view, before);
  const first = alarms.find(({ kind }) => kind === "trouble") ?? alarms[0];
  return {
    ring: first === undefined ? null : { sound: first.kind, sentence: first.sentence },
    memory,
  };
}

/** What rings while nobody answers: once for each silence. The page alone can know this. */
export function ringOfSilence(
  { link, ageMs }: { readonly link: LinkState; readonly ageMs: number },
  hasRung: boolean,
): { readonly ring: Ring | null; readonly hasRung: boolean } {
  if (link === "live") return { ring: null, hasRung: false };
  const isDue = link === "lost" && ageMs >= SILENT_MS && !hasRung;
  return {
    ring: isDue ? { sound: "silent", sentence: alarmWords.silent } : null,
    hasRung: hasRung || isDue,
  };
}

/** Hours of the clock between which nothing rings; null: none are set. They may go over midnight. */
export type QuietHours = { readonly fromHour: number; readonly toHour: number };

/** @param hour  Of the clock on the wall, with its fraction, 0..24. */
export function isQuiet(hour: number, quiet: QuietHours | null): boolean {
  if (quiet === null) return false;
  const { fromHour, toHour } = quiet;
  return fromHour <= toHour ? hour >= fromHour && hour < toHour : hour >= fromHour || hour < toHour;
}
