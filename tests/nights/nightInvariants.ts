import type { Exposure } from "../../core/exposure/exposure.ts";
import type { ExposureSettings } from "../../core/exposure/settings.ts";
import { monotonicMs } from "../../core/units.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { handWordAt, type HandWord } from "../../core/watch/handWord.ts";
import type { WatchState } from "../../core/watch/state.ts";
import { nightState, type StateRow } from "../../core/watch/stateSentence.ts";
import type { CardPicture } from "./simulatedBody.ts";

/** So soon after the last fault's end the next exposure is ordered. */
const BACK_WITHIN_MS = 15_000;
/** A camera that went silent is noticed by its deadline and tried again by the next one. */
const NOTICED_WITHIN_MS = 60_000;

type Moment = {
  readonly nowMs: number;
  readonly state: WatchState;
  readonly isShutterOpen: boolean;
  readonly isLinked: boolean;
  readonly hand: HandWord;
  readonly wakeMs: number | null;
};

/** What must hold after every event of a night, and at its end. */
export class NightInvariants {
  readonly problems: string[] = [];
  /** No fault of the link lasts beyond this. */
  #faultsEndMs = 0;
  #lastOrderMs = 0;
  #unlinkedSinceMs: number | null = null;
  /** When the newest frame closed, and how long after the one before; null: none since a gap. */
  #newest: {
    readonly takenCount: number;
    readonly atMs: number;
    readonly periodMs: number;
  } | null = null;

  note(nowMs: number, problem: string): void {
    // One broken promise breaks many times; the first few show it.
    if (this.problems.length < 5)
      this.problems.push(`At ${Math.round(nowMs / 1000)} s: ${problem}.`);
  }

  faultUntil(endMs: number): void {
    this.#faultsEndMs = Math.max(this.#faultsEndMs, endMs);
  }

  /** The daemon has been started. */
  began(nowMs: number): void {
    this.#lastOrderMs = nowMs;
  }

  ordered(order: {
    readonly nowMs: number;
    readonly exposure: Exposure;
    readonly settings: ExposureSettings;
    readonly hand: HandWord;
    readonly isShutterOpen: boolean;
  }): void {
    const { nowMs, exposure, settings, hand, isShutterOpen } = order;
    this.#lastOrderMs = nowMs;
    if (isShutterOpen) this.note(nowMs, "a frame was ordered with the shutter open");
    const word = handWordAt(hand, monotonicMs(nowMs)).kind;
    if (word !== "watch") this.note(nowMs, `a frame was ordered though the hand said ${word}`);
    const { exposureSeconds, iso } = exposure;
    const isInLimits =
      exposureSeconds >= settings.exposureSecondsMin * 0.999 &&
      exposureSeconds <= settings.exposureSecondsMax * 1.001 &&
      iso >= settings.isoMin * 0.999 &&
      iso <= settings.isoMax * 1.001;
    if (!isInLimits) this.note(nowMs, `${exposureSeconds} s at ISO ${iso} is beyond the limits`);
  }

  check(moment: Moment): void {
    const { nowMs, state, isShutterOpen, wakeMs } = moment;
    const row = rowOf(state, nowMs);
    this.#checkShutter(moment);
    this.#checkSentence(moment, row);
    this.#checkAge(moment, row);
    this.#checkReturn(moment);
    const isRunning = !["idle", "finished", "paused"].includes(state.phase.kind);
    if (isRunning && wakeMs === null && state.phase.kind !== "ending") {
      this.note(nowMs, `nothing wakes the watch in ${state.phase.kind}`);
    }
    if (isShutterOpen && row.kind === "well" && state.phase.kind === "paused") {
      this.note(nowMs, "the shutter is open in a pause");
    }
  }

  /** An open shutter has an owner and a deadline, or is reported as loose and is being closed. */
  #checkShutter({ nowMs, state, isShutterOpen, isLinked }: Moment): void {
    if (!isShutterOpen || !isLinked) return;
    const { kind } = state.phase;
    const isOwned = kind === "ordered" || kind === "exposing" || kind === "closing";
    if (
      !isOwned &&
      state.known.camera.looseSinceMs === null &&
      kind !== "connecting" &&
      kind !== "recovering"
    ) {
      this.note(nowMs, `the shutter is open and nobody's in ${kind}`);
    }
  }

  #checkSentence({ nowMs, state, isLinked, hand }: Moment, row: StateRow): void {
    const isCalm = row.kind === "well" || row.kind === "skyActs";
    const word = handWordAt(hand, monotonicMs(nowMs)).kind;
    if (isCalm && word !== "watch")
      this.note(nowMs, `all is well was said though the hand said ${word}`);
    if (isCalm && state.known.camera.looseSinceMs !== null)
      this.note(nowMs, "all is well with a loose shutter");
    if (isLinked) this.#unlinkedSinceMs = null;
    else this.#unlinkedSinceMs ??= nowMs;
    const unlinkedMs = this.#unlinkedSinceMs === null ? 0 : nowMs - this.#unlinkedSinceMs;
    if (isCalm && unlinkedMs > NOTICED_WITHIN_MS) {
      this.note(nowMs, "all is well was said for a minute without a camera");
    }
    if (row.sentence.trim() === "") this.note(nowMs, "the sentence is empty");
  }

  /** All is well is said only over a newest frame of the last two frame periods. */
  #checkAge({ nowMs, state }: Moment, row: StateRow): void {
    const {
      frames: { takenCount },
      settings,
      gaps,
    } = state.known;
    const isTaken = takenCount !== this.#newest?.takenCount;
    if (gaps.at(-1)?.endMs === null || takenCount === 0) this.#newest = null;
    else if (isTaken) {
      this.#newest = { takenCount, atMs: nowMs, periodMs: nowMs - (this.#newest?.atMs ?? nowMs) };
    }
    if (row.kind !== "well" || this.#newest === null) return;
    const { exposureSecondsMax, intervalSeconds } = settings.exposure;
    const paceSeconds = Math.max(
      ...[exposureSecondsMax, intervalSeconds, settings.sentinelIntervalSeconds ?? 0],
    );
    const ageMs = nowMs - this.#newest.atMs;
    if (ageMs > 2 * Math.max(this.#newest.periodMs, paceSeconds * 1000)) {
      this.note(
        nowMs,
        `all is well was said over a newest frame ${Math.round(ageMs / 1000)} s old`,
      );
    }
  }

  /** Frames go on soon after the last fault of the link has ended, unless the hand or the night ended them. */
  #checkReturn({ nowMs, state, hand }: Moment): void {
    const { kind } = state.phase;
    const isOver = ["idle", "ending", "finished"].includes(kind);
    const word = handWordAt(hand, monotonicMs(nowMs)).kind;
    if (isOver || word !== "watch" || nowMs < this.#faultsEndMs) {
      this.#lastOrderMs = Math.max(this.#lastOrderMs, nowMs);
      return;
    }
    // An exposure in hand when the fault ended, and the silence that loses a camera, come before.
    const { silenceSecondsMax, exposure } = state.known.settings;
    const graceMs =
      BACK_WITHIN_MS + 2 * silenceSecondsMax * 1000 + exposure.exposureSecondsMax * 1000;
    // Counted from the fault's end: a suspended computer checks nothing before it.
    if (nowMs - Math.max(this.#lastOrderMs, this.#faultsEndMs) > graceMs) {
      this.note(
        nowMs,
        `no frame was ordered for ${Math.round((nowMs - this.#lastOrderMs) / 1000)} s in ${kind}`,
      );
      this.#lastOrderMs = nowMs;
    }
  }

  /** Each picture is on the frame that took it, and on no other. */
  checkPictures(rows: readonly FrameRecord[], card: readonly CardPicture[]): void {
    const seen = new Set<number>();
    for (const { frameIndex, status, file } of rows) {
      if (status !== "kept" || file === null) continue;
      const handle = file.cameraHandle!;
      if (seen.has(handle)) this.note(Infinity, `picture ${handle} is kept twice`);
      seen.add(handle);
      const { ofFrame } = card[handle - 1]!;
      if (ofFrame !== frameIndex) {
        this.note(Infinity, `picture ${handle} of frame ${ofFrame} is kept on frame ${frameIndex}`);
      }
    }
    const lost = card.filter(
      ({ ofFrame, cameraHandle }) => ofFrame !== null && !seen.has(cameraHandle),
    );
    for (const { ofFrame } of lost.slice(0, 3)) {
      const row = rows.find(({ frameIndex }) => frameIndex === ofFrame);
      if ((row?.openedUtcMs ?? null) !== null)
        this.note(Infinity, `the picture of frame ${ofFrame} is not kept`);
    }
  }
}

function rowOf(state: WatchState, nowMs: number): StateRow {
  return nightState({
    nowMs: monotonicMs(nowMs),
    freeDiskBytes: null,
    clockText: (atMs) => `${Math.round(atMs / 1000)} s`,
    watches: [{ cameraLabel: "", state, isLastFrameWhole: true, fileBytes: null }],
  });
}
