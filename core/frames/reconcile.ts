import type { FrameRecord } from "../watch/frameRecord.ts";
import { utcMs, type UtcMs } from "../units.ts";
import { alignByTime } from "./alignByTime.ts";
import { medianOf } from "../statistics.ts";
import { captureDateMs } from "../ptp/dateTime.ts";

/** A file on the camera's card, as the camera lists it. */
export type CardEntry = {
  readonly cameraHandle: number;
  readonly cameraName: string;
  readonly bytes: number;
  /** PTP DateTime; empty when the camera gives none. */
  readonly captureDate: string;
};

/** A file in the night's folder; `path` as in a frame's record. */
export type DiskEntry = { readonly path: string; readonly bytes: number };

export type ReconciliationInput = {
  readonly cameraId: string;
  /** All of the camera's frames of this night, by rising index. */
  readonly frames: readonly FrameRecord[];
  /** null: the camera cannot be asked now. */
  readonly cardFiles: readonly CardEntry[] | null;
  readonly filesOnDisk: readonly DiskEntry[];
  /** Where a frame's file belongs: relative to the night's folder. */
  readonly pathOf: (frameIndex: number, cameraName: string) => string;
  /** Camera clock minus the night's UTC, from the camera itself; null: unknown. */
  readonly clockOffsetMs: number | null;
  /** Minutes east of UTC that the camera's clock keeps where it names no zone; left out: as UTC. */
  readonly zoneMinutes?: number;
  /** Card files from before the night are not the night's. */
  readonly startUtcMs: UtcMs;
  /** Nor are those from after it; null: the night goes on. */
  readonly endUtcMs: UtcMs | null;
};

/** One thing to do so that disk, card and catalogue say the same. */
export type ReconciliationStep =
  /** The card holds the frame's file: fetch it, keep it, write it down. */
  | {
      readonly kind: "fetch";
      readonly frameIndex: number;
      readonly card: CardEntry;
      readonly path: string;
      readonly why: string;
    }
  /** The file is whole on the disk already; only the catalogue does not know. */
  | {
      readonly kind: "adopt";
      readonly frameIndex: number;
      readonly card: CardEntry | null;
      readonly path: string;
    }
  /** The camera took a frame of which the catalogue knows nothing. */
  | {
      readonly kind: "addFrame";
      readonly frameIndex: number;
      readonly card: CardEntry;
      readonly path: string;
      readonly openedUtcMs: UtcMs;
    }
  /** Half-written, or nobody's: out of the way, never deleted. */
  | { readonly kind: "setAside"; readonly path: string; readonly why: string }
  /** Neither the card nor the disk has it. */
  | { readonly kind: "markMissing"; readonly frameIndex: number; readonly why: string };

/** Said of a frame whose preview was deleted on purpose: it is not fetched again. */
export const PRUNED_REASON = "its preview was pruned";

/** Said, in a copy of part of a night, of a frame that the copy was never meant to hold. */
export const LEFT_BEHIND_REASON = "its file stayed with the whole night";

/** True for a frame that a copy of part of a night was not meant to hold. */
export function isLeftBehind(frame: FrameRecord): boolean {
  return frame.reasons.includes(LEFT_BEHIND_REASON);
}

/** True for a frame whose file is not here on purpose: pruned by rule, or left behind by a copy. */
export function isAway(frame: FrameRecord): boolean {
  return frame.reasons.includes(PRUNED_REASON) || isLeftBehind(frame);
}

/** Card times come in whole seconds and say opening or closing, as the camera likes. */
const TIME_TOLERANCE_MS = 3000;

/** Two times read off a clock of whole seconds can be wrong by this much against each other. */
const CLOCK_GRAIN_MS = 1000;

/**
 * Compares what the catalogue knows with what the card and the disk hold, and says what to do so
 * that no frame the camera took is missing and none is there twice.
 *
 * A picture belongs to a frame by proof. A kept frame is recognised on the card by its name (and its
 * handle or time, since names come round again after 9999); the others are matched by time, in order,
 * against the camera's clock as it was measured. Files of one name with different endings are one
 * frame. Card files from before or after the night are left alone. Where no time can be known, nothing
 * is guessed: the pictures stay on the card.
 *
 * Running the steps and planning again gives an empty plan.
 */
export function planReconciliation(input: ReconciliationInput): readonly ReconciliationStep[] {
  const disk = new Map(input.filesOnDisk.map((file) => [file.path, file.bytes]));
  const halves = input.filesOnDisk
    .filter((file) => file.path.endsWith(".part"))
    .map((file) => ({ kind: "setAside", path: file.path, why: "half-written" }) as const);
  if (input.cardFiles === null) return [...halves, ...adoptFromDisk(input, disk)];

  const card = inTimeOrder(oneEntryPerFrame(input.cardFiles), input.zoneMinutes ?? 0);
  const offsetMs = clockOffsetMs(input, card);
  const known = matchKept(input.frames, card, offsetMs);
  const free = card.filter(
    (entry) => !known.entries.has(entry) && isOfTheNight(entry, input, offsetMs),
  );
  const matched = matchOpen(input.frames, free, offsetMs);
  const taken = new Set(matched.values());
  const left = free.filter((entry) => !taken.has(entry));

  const steps: ReconciliationStep[] = [...halves];
  for (const frame of input.frames) {
    const entry = known.frames.get(frame.frameIndex) ?? matched.get(frame.frameIndex) ?? null;
    const step = stepFor(frame, entry, input, disk);
    if (step !== null) steps.push(step);
  }
  return [...steps, ...addFrames(input, left, offsetMs)];
}

type Timed = CardEntry & { readonly timeMs: number | null };

function stepFor(
  frame: FrameRecord,
  entry: Timed | null,
  input: ReconciliationInput,
  disk: ReadonlyMap<string, number>,
): ReconciliationStep | null {
  const { frameIndex } = frame;
  if (isAway(frame)) return null;
  if (frame.status === "kept" && frame.file !== null) {
    const bytes = disk.get(frame.file.path);
    if (bytes === frame.file.bytes) return null;
    const why = bytes === undefined ? "its file is gone" : "its file was changed";
    if (entry === null) return null;
    // A preview was kept and the card offers the original: that goes where originals go.
    const path =
      entry.bytes === frame.file.bytes
        ? frame.file.path
        : input.pathOf(frameIndex, entry.cameraName);
    return disk.get(path) === entry.bytes
      ? { kind: "adopt", frameIndex, card: plain(entry), path }
      : { kind: "fetch", frameIndex, card: plain(entry), path, why };
  }
  if (entry === null) {
    const path = input.pathOf(frameIndex, frame.file?.cameraName ?? "");
    if (disk.has(path)) return { kind: "adopt", frameIndex, card: null, path };
    if (frame.status === "missing") return null;
    const why =
      frame.status === "ordered" ? "it was ordered but never taken" : "the card does not hold it";
    return { kind: "markMissing", frameIndex, why };
  }
  const path = input.pathOf(frameIndex, entry.cameraName);
  if (disk.get(path) === entry.bytes)
    return { kind: "adopt", frameIndex, card: plain(entry), path };
  return { kind: "fetch", frameIndex, card: plain(entry), path, why: "it was not kept yet" };
}

function adoptFromDisk(
  input: ReconciliationInput,
  disk: ReadonlyMap<string, number>,
): ReconciliationStep[] {
  return input.frames.flatMap((frame) => {
    if (frame.status === "kept" || isAway(frame)) return [];
    const path = input.pathOf(frame.frameIndex, frame.file?.cameraName ?? "");
    return disk.has(path)
      ? [{ kind: "adopt", frameIndex: frame.frameIndex, card: null, path } as const]
      : [];
  });
}

/** The same frame as JPEG and as raw has one stem; the JPEG stands for it. */
function oneEntryPerFrame(entries: readonly CardEntry[]): CardEntry[] {
  const byStem = new Map<string, CardEntry>();
  for (const entry of entries) {
    const stem = `${entry.cameraName.replace(/\.[^.]*$/, "")} ${entry.captureDate}`;
    const present = byStem.get(stem);
    if (present === undefined || (isJpeg(entry) && !isJpeg(present))) byStem.set(stem, entry);
    // A body that gives every picture one name has not taken one picture: only endings make a pair.
    else if (isJpeg(entry) === isJpeg(present)) byStem.set(`${stem} ${entry.cameraHandle}`, entry);
  }
  return [...byStem.values()];
}

function isJpeg(entry: CardEntry): boolean {
  return /\.jpe?g$/i.test(entry.cameraName);
}

function inTimeOrder(entries: readonly CardEntry[], zoneMinutes: number): Timed[] {
  return entries
    .map((entry) => ({ ...entry, timeMs: captureDateMs(entry.captureDate, zoneMinutes) }))
    .sort((a, b) => (a.timeMs ?? 0) - (b.timeMs ?? 0) || a.cameraHandle - b.cameraHandle);
}

function entriesByName(card: readonly Timed[]): ReadonlyMap<string, readonly Timed[]> {
  const byName = new Map<string, Timed[]>();
  for (const entry of card) {
    const present = byName.get(entry.cameraName);
    if (present === undefined) byName.set(entry.cameraName, [entry]);
    else present.push(entry);
  }
  return byName;
}

function plain(entry: Timed): CardEntry {
  const { cameraHandle, cameraName, bytes, captureDate } = entry;
  return { cameraHandle, cameraName, bytes, captureDate };
}

/** So many frames known on both sides tell the camera's clock; fewer may be one mistake. Judgement. */
const CLOCK_PAIRS_MIN = 3;

/** The camera's clock as it was measured; else by the frames that are known on both sides. */
function clockOffsetMs(input: ReconciliationInput, card: readonly Timed[]): number | null {
  if (input.clockOffsetMs !== null) return input.clockOffsetMs;
  const byName = entriesByName(card);
  const offsets: number[] = [];
  for (const frame of input.frames) {
    const entries = frame.file === null ? undefined : byName.get(frame.file.cameraName);
    // A name that the card holds twice tells no time.
    if (entries?.length !== 1 || frame.openedUtcMs === null) continue;
    const timeMs = entries[0]!.timeMs;
    if (timeMs !== null) offsets.push(timeMs - frame.openedUtcMs);
  }
  if (offsets.length < CLOCK_PAIRS_MIN) return null;
  return medianOf(offsets);
}

/** What cannot be dated may be of the night. */
function isOfTheNight(entry: Timed, input: ReconciliationInput, offsetMs: number | null): boolean {
  if (entry.timeMs === null || offsetMs === null) return true;
  const takenMs = entry.timeMs - offsetMs;
  return (
    takenMs >= input.startUtcMs - TIME_TOLERANCE_MS &&
    (input.endUtcMs === null || takenMs <= input.endUtcMs + TIME_TOLERANCE_MS)
  );
}

function matchKept(
  frames: readonly FrameRecord[],
  card: readonly Timed[],
  offsetMs: number | null,
) {
  const matchedFrames = new Map<number, Timed>();
  const matchedEntries = new Set<Timed>();
  const byName = entriesByName(card);
  for (const frame of frames) {
    if ((frame.status !== "kept" && !isAway(frame)) || frame.file === null) continue;
    const { cameraName, cameraHandle } = frame.file;
    // A file that was found on the disk, after a break between its name and its row, knows only its frame.
    const named = cameraName === "" ? card : (byName.get(cameraName) ?? []);
    const candidates = named.filter((entry) => !matchedEntries.has(entry));
    const distanceMs = (entry: Timed): number =>
      entry.timeMs === null || frame.openedUtcMs === null || offsetMs === null
        ? 0
        : Math.abs(entry.timeMs - offsetMs - frame.openedUtcMs);
    const isTimeKnown = (entry: Timed): boolean =>
      (entry.timeMs !== null && offsetMs !== null && frame.openedUtcMs !== null) ||
      entry.bytes === frame.file?.bytes;
    const longMs = TIME_TOLERANCE_MS + 1000 * exposureSecondsOf(frame);
    const best = candidates
      .filter(
        (entry) =>
          (cameraName !== "" && entry.cameraHandle === cameraHandle) ||
          (distanceMs(entry) <= longMs && (cameraName !== "" || isTimeKnown(entry))),
      )
      .sort((a, b) => distanceMs(a) - distanceMs(b))[0];
    if (best === undefined) continue;
    matchedFrames.set(frame.frameIndex, best);
    matchedEntries.add(best);
  }
  return { frames: matchedFrames, entries: matchedEntries };
}

function exposureSecondsOf(frame: FrameRecord): number {
  return (frame.happened ?? frame.ordered).exposureSeconds;
}

/** Frames that are not kept yet against card files that nobody has claimed. */
function matchOpen(
  all: readonly FrameRecord[],
  free: readonly Timed[],
  offsetMs: number | null,
): Map<number, Timed> {
  if (offsetMs === null) return new Map();
  const frames = all.filter((frame) => frame.status !== "kept" && !isAway(frame));
  const opened = frames.filter((frame) => frame.openedUtcMs !== null);
  const dated = free.filter((entry) => entry.timeMs !== null);
  const pairs = alignByTime(
    opened.map((frame) => frame.openedUtcMs!),
    dated.map((entry) => entry.timeMs! - offsetMs),
    opened.map((frame) => TIME_TOLERANCE_MS + 1000 * exposureSecondsOf(frame)),
  );
  const matched = new Map(pairs.map(([a, b]) => [opened[a]!.frameIndex, dated[b]!]));
  // The break came between the last order and its opening being written down: the camera may have
  // taken it all the same. One picture after the frame before it is proof; of two, one is the hand's.
  const last = all.at(-1);
  if (last?.status === "ordered" && last.openedUtcMs === null) {
    const taken = new Set(matched.values());
    const afterMs = lastBefore(all, matched, last.frameIndex, offsetMs) - CLOCK_GRAIN_MS;
    const after = dated.filter((one) => !taken.has(one) && one.timeMs! - offsetMs > afterMs);
    if (after.length === 1) matched.set(last.frameIndex, after[0]!);
  }
  return matched;
}

function lastBefore(
  frames: readonly FrameRecord[],
  matched: ReadonlyMap<number, Timed>,
  frameIndex: number,
  offsetMs: number,
): number {
  let last = -Infinity;
  for (const frame of frames) {
    if (frame.frameIndex >= frameIndex) break;
    last = Math.max(last, frame.openedUtcMs ?? -Infinity);
    const timeMs = matched.get(frame.frameIndex)?.timeMs ?? null;
    if (timeMs !== null) last = Math.max(last, timeMs - offsetMs);
  }
  return last;
}

/** What is left on the card and was taken during the night gets a frame of its own. */
function addFrames(
  input: ReconciliationInput,
  left: readonly Timed[],
  offsetMs: number | null,
): ReconciliationStep[] {
  if (offsetMs === null) return [];
  let frameIndex = (input.frames.at(-1)?.frameIndex ?? -1) + 1;
  const steps: ReconciliationStep[] = [];
  for (const entry of left) {
    if (entry.timeMs === null) continue;
    const path = input.pathOf(frameIndex, entry.cameraName);
    const openedUtcMs = utcMs(entry.timeMs - offsetMs);
    steps.push({ kind: "addFrame", frameIndex, card: plain(entry), path, openedUtcMs });
    frameIndex += 1;
  }
  return steps;
}
