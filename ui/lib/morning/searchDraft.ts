import type { FrameSearch } from "../../../core/api/upkeepMessages.ts";
import { morningWords } from "../../../core/words/morningWords.ts";

/** A search as it stands in the fields: texts, whatever was typed. */
export type SearchDraft = {
  readonly from: string;
  readonly to: string;
  readonly brighterThan: string;
  readonly darkerThan: string;
  readonly isInSurge: boolean;
};

export const EMPTY_SEARCH: SearchDraft = {
  from: "",
  to: "",
  brighterThan: "",
  darkerThan: "",
  isInSurge: false,
};

/** A search that can be asked, or one sentence on what cannot be read. */
type SearchAsked =
  | { readonly kind: "search"; readonly search: FrameSearch }
  | { readonly kind: "unclear"; readonly sentence: string };

const DAY_MS = 86_400_000;
const HOUR_MS = 3_600_000;

/**
 * The search of what stands in the fields.
 *
 * @param nightStartUtcMs  A time of day is the first such one from an hour before it on.
 */
export function searchOf(
  draft: SearchDraft,
  { nightStartUtcMs, cameraId }: { nightStartUtcMs: number; cameraId: string | null },
): SearchAsked {
  const words = morningWords.find;
  const [from, to] = [draft.from, draft.to].map((text) => momentOf(text, nightStartUtcMs));
  if (from === undefined || to === undefined) return { kind: "unclear", sentence: words.notTime };
  const [brighter, darker] = [draft.brighterThan, draft.darkerThan].map(milliOf);
  if (brighter === undefined || darker === undefined)
    return { kind: "unclear", sentence: words.notNumber };
  const search = {
    cameraId,
    fromUtcMs: from,
    toUtcMs: to,
    brighterThanCdM2: brighter,
    darkerThanCdM2: darker,
    isInSurge: draft.isInSurge,
  };
  return { kind: "search", search };
}

/** A time on the laptop's clock, as in 23:41 or 23:41:07; null: none given, undefined: unreadable. */
function momentOf(text: string, nightStartUtcMs: number): number | null | undefined {
  if (text.trim() === "") return null;
  const found = /^(\d{1,2})[:.](\d{2})(?:[:.](\d{2}))?$/.exec(text.trim());
  const [hours, minutes, seconds] = [1, 2, 3].map((group) => Number(found?.[group] ?? 0));
  if (!found || hours! > 23 || minutes! > 59 || seconds! > 59) return undefined;
  const earliest = nightStartUtcMs - HOUR_MS;
  const at = new Date(earliest).setHours(hours!, minutes, seconds, 0);
  return at < earliest ? at + DAY_MS : at;
}

/** Thousandths of a cd/m², as they are shown beside a frame; null: none given, undefined: unreadable. */
function milliOf(text: string): number | null | undefined {
  if (text.trim() === "") return null;
  const value = Number(text.trim().replace(",", "."));
  return Number.isFinite(value) && value >= 0 ? Number((value / 1000).toPrecision(10)) : undefined;
}
