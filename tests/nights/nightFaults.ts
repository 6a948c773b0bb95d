import type { Random } from "../../core/random.ts";

/** What goes wrong, or is said by hand, in a night of the campaign. */
export type Fault =
  /** The cable is out; a bulb that was open stays open. */
  | { readonly kind: "cableOut"; readonly atMs: number; readonly endMs: number }
  /** The camera answers nothing and says nothing. */
  | { readonly kind: "silent"; readonly atMs: number; readonly endMs: number }
  /** The camera refuses exposures. */
  | { readonly kind: "busy"; readonly atMs: number; readonly endMs: number }
  /** Events come this much later, out of order. */
  | { readonly kind: "lateEvents"; readonly atMs: number; readonly endMs: number }
  /** Every event comes twice. */
  | { readonly kind: "doubledEvents"; readonly atMs: number; readonly endMs: number }
  /** Files are never named. */
  | { readonly kind: "lostFiles"; readonly atMs: number; readonly endMs: number }
  /** Previews cannot be metered. */
  | { readonly kind: "blind"; readonly atMs: number; readonly endMs: number }
  | { readonly kind: "diskFull"; readonly atMs: number; readonly endMs: number }
  /** The dial is not on manual when the camera is next connected. */
  | { readonly kind: "dialTurned"; readonly atMs: number; readonly endMs: number }
  /** Previews take up to half a minute to be metered. */
  | { readonly kind: "slowPreviews"; readonly atMs: number; readonly endMs: number }
  /** The disk takes up to half a minute for a file. */
  | { readonly kind: "diskSlow"; readonly atMs: number; readonly endMs: number }
  /** Files break off: nothing can be metered, and the card holds the whole. */
  | { readonly kind: "truncated"; readonly atMs: number; readonly endMs: number }
  /** The computer is suspended: it decides nothing, and hears everything at once when it is back. */
  | { readonly kind: "suspended"; readonly atMs: number; readonly endMs: number }
  /** The camera's card has no room; at `endMs` another, empty one is put in. */
  | { readonly kind: "cardFull"; readonly atMs: number; readonly endMs: number }
  /** The daemon is killed and started again at `endMs`. */
  | { readonly kind: "killed"; readonly atMs: number; readonly endMs: number }
  /** Somebody presses the camera's own release. */
  | { readonly kind: "handPicture"; readonly atMs: number }
  /** An event of a frame that nobody ordered. */
  | { readonly kind: "wrongId"; readonly atMs: number }
  /** A sensor says a thousand things at once. */
  | { readonly kind: "babble"; readonly atMs: number }
  /** The thread that owns the session dies; the next one begins a new session. */
  | { readonly kind: "workerCrashed"; readonly atMs: number }
  /** This computer's clock was set: a receiver hears the difference; the night's own clock does not move. */
  | { readonly kind: "clockSet"; readonly atMs: number; readonly byMs: number }
  /** The camera's battery falls from now on, to nothing in an hour. */
  | { readonly kind: "batteryDies"; readonly atMs: number }
  | { readonly kind: "pause"; readonly atMs: number; readonly forMs: number | null }
  | { readonly kind: "resume"; readonly atMs: number }
  | { readonly kind: "settings"; readonly atMs: number; readonly isoMax: number }
  | { readonly kind: "stop"; readonly atMs: number };

const LASTING = [
  ...(["cableOut", "silent", "busy", "lateEvents", "doubledEvents"] as const),
  ...(["lostFiles", "blind", "diskFull", "dialTurned", "killed", "cableOut"] as const),
  ...(["slowPreviews", "diskSlow", "truncated", "suspended"] as const),
];
const MOMENTS = [
  ...(["handPicture", "wrongId", "babble", "pause", "resume", "settings"] as const),
  ...(["workerCrashed", "clockSet"] as const),
];
/** An hour either way is daylight saving; the others are a dead clock battery and a time server. */
const CLOCK_STEPS_MS = [3_600_000, -3_600_000, 7 * 86_400_000, -40_000] as const;

/** A night's faults by rising time: some ten that last, some ten that are over at once. */
export function faultsOf(random: Random, nightMs: number): readonly Fault[] {
  const faults: Fault[] = [];
  for (let count = 8 + random.integer(8); count > 0; count -= 1) {
    const kind = LASTING[random.integer(LASTING.length)]!;
    const atMs = random.uniform() * nightMs * 0.95;
    // Short ones fall between the watch's own deadlines, long ones outlast them all.
    const lastsMs = 500 * 10 ** (random.uniform() * 3);
    faults.push({ kind, atMs, endMs: atMs + lastsMs });
  }
  for (let count = 6 + random.integer(10); count > 0; count -= 1) {
    faults.push(momentOf(random, random.uniform() * nightMs * 0.95));
  }
  if (random.uniform() < 0.15) {
    faults.push({ kind: "stop", atMs: nightMs * (0.3 + 0.6 * random.uniform()) });
  }
  if (random.uniform() < 0.1) {
    faults.push({ kind: "batteryDies", atMs: nightMs * (0.5 + 0.4 * random.uniform()) });
  }
  if (random.uniform() < 0.1) {
    const atMs = nightMs * (0.3 + 0.5 * random.uniform());
    faults.push({ kind: "cardFull", atMs, endMs: atMs + 600_000 });
  }
  return faults.sort((one, other) => one.atMs - other.atMs);
}

function momentOf(random: Random, atMs: number): Fault {
  const kind = MOMENTS[random.integer(MOMENTS.length)]!;
  if (kind === "pause") {
    return { kind, atMs, forMs: random.uniform() < 0.6 ? 600_000 * random.uniform() : null };
  }
  if (kind === "settings") return { kind, atMs, isoMax: 800 * 2 ** random.integer(4) };
  if (kind === "clockSet") {
    return { kind, atMs, byMs: CLOCK_STEPS_MS[random.integer(CLOCK_STEPS_MS.length)]! };
  }
  return { kind, atMs };
}
