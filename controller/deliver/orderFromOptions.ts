import {
  DEFAULT_DELIVER_ORDER,
  type DeliverOrder,
  type SequenceKind,
  type VideoKind,
} from "../../core/api/deliverMessages.ts";
import { NightError } from "../../core/errors.ts";

/** Boxes by their usual names: lines of a 16:9 picture. */
const NAMED_BOXES: Readonly<Record<string, { widthPx: number; heightPx: number }>> = {
  "720": { widthPx: 1280, heightPx: 720 },
  "1080": { widthPx: 1920, heightPx: 1080 },
  "1440": { widthPx: 2560, heightPx: 1440 },
  "2160": { widthPx: 3840, heightPx: 2160 },
};

const VIDEO_KINDS: readonly VideoKind[] = ["h264", "vp9", "av1"];

/** A size like "1080" or "1920x1280". @throws NightError `usage.invalid`. */
export function boxOf(text: string): { readonly widthPx: number; readonly heightPx: number } {
  const named = NAMED_BOXES[text];
  if (named !== undefined) return named;
  const parts = /^(\d+)\s*[x×]\s*(\d+)$/i.exec(text);
  const [widthPx, heightPx] = [Number(parts?.[1]), Number(parts?.[2])];
  const isRight = [widthPx, heightPx].every((px) => px >= 16 && px <= 4096);
  if (isRight) return { widthPx, heightPx };
  throw usage(
    `--size must be ${Object.keys(NAMED_BOXES).join(", ")} or WIDTHxHEIGHT up to 4096x4096, not "${text}"`,
  );
}

/** Codecs like "h264,vp9", or "none". @throws NightError `usage.invalid`. */
export function videosOf(text: string): readonly VideoKind[] {
  if (text === "none") return [];
  const words = text.split(",").map((word) => word.trim());
  const kinds = VIDEO_KINDS.filter((kind) => words.includes(kind));
  if (kinds.length === words.length) return kinds;
  throw usage(`--video must be none or a list of ${VIDEO_KINDS.join(", ")}, not "${text}"`);
}

/**
 * A moment of the night: ISO 8601, or a time of day in UT that lies within the night.
 *
 * @throws NightError `usage.invalid`.
 */
export function momentOf(option: string, text: string | null, startUtcMs: number): number | null {
  if (text === null) return null;
  const time = /^(\d{1,2}):(\d{2})(?::(\d{2}))?$/.exec(text);
  if (time === null) {
    const utcMs = Date.parse(text);
    if (Number.isFinite(utcMs)) return utcMs;
    throw usage(`--${option} must be a time like 22:30 (UT) or 2026-01-10T22:30Z, not "${text}"`);
  }
  const [hours, minutes, seconds] = [Number(time[1]), Number(time[2]), Number(time[3] ?? "0")];
  if (hours > 23 || minutes > 59 || seconds > 59) {
    throw usage(`--${option} must be a time of day like 22:30, not "${text}"`);
  }
  const midnight = Math.floor(startUtcMs / 86_400_000) * 86_400_000;
  const atMs = midnight + ((hours * 60 + minutes) * 60 + seconds) * 1000;
  // A night begins before midnight as a rule: an earlier time of day is the next day's.
  return atMs < startUtcMs - 6 * 3_600_000 ? atMs + 86_400_000 : atMs;
}

type DeliverChoices = {
  readonly sets: readonly string[];
  readonly fps: string;
  readonly size: string;
  readonly sequence: string;
  readonly video: string;
  readonly from: string | null;
  readonly to: string | null;
  readonly keogram: boolean;
  readonly starTrail: boolean;
  readonly contactSheet: boolean;
  readonly report: boolean;
  readonly noExtras: boolean;
  readonly sidecars: boolean;
  readonly resume: boolean;
};

/**
 * The order that a command line asks for. Naming none of keogram, star trail, contact sheet and
 * report asks for all four.
 */
export function orderOf(choices: DeliverChoices, startUtcMs: number): DeliverOrder {
  const { keogram, starTrail, contactSheet, report } = choices;
  const isAll = !(keogram || starTrail || contactSheet || report || choices.noExtras);
  return {
    ...DEFAULT_DELIVER_ORDER,
    setIds: choices.sets,
    fromUtcMs: momentOf("from", choices.from, startUtcMs),
    toUtcMs: momentOf("to", choices.to, startUtcMs),
    framesPerSecond: Number(choices.fps) as DeliverOrder["framesPerSecond"],
    videoBox: boxOf(choices.size),
    sequence: choices.sequence as SequenceKind,
    videos: videosOf(choices.video),
    keogram: keogram || isAll,
    starTrail: starTrail || isAll,
    contactSheet: contactSheet || isAll,
    report: report || isAll,
    sidecars: choices.sidecars,
    resume: choices.resume,
  };
}

function usage(sentence: string): NightError {
  return new NightError("usage.invalid", sentence);
}
