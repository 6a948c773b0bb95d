import { alibiOf, ownerOf, type PictureWord, type ProofSlack } from "../../core/frames/proof.ts";
import { captureDateMs } from "../../core/ptp/dateTime.ts";
import { utcMs, type UtcMs } from "../../core/units.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import type { Catalogue } from "../archive/catalogue.ts";
import { exposureInFile } from "../imageExif.ts";
import { sha256Of } from "../archive/frameFiles.ts";
import { nightInfoOf } from "../archive/nightFolder.ts";

/** A busy computer may measure a bulb exposure by so much too long, real seconds. Judgement. */
const TIMING_SLACK_SECONDS = 0.5;
/** Whole seconds on both sides, and the time that asking for the camera's clock takes, real. Judgement. */
const CLOCK_SLACK_MS = 3000;
/** So many pictures in a row that contradict their frames: what contradicts is the camera's habit. Judgement. */
const HABIT_COUNT = 3;

/** Says whose a picture is by its own exposure, ISO and time. */
export class FrameFinder {
  readonly #catalogue: Catalogue;
  readonly #cameraId: string;
  readonly #slack: ProofSlack;
  readonly #zoneMinutes: number;
  #clockOffsetMs: number | null = null;
  #contradictedCount = 0;

  constructor(options: {
    readonly catalogue: Catalogue;
    readonly cameraId: string;
    readonly rate: number;
  }) {
    const { catalogue, cameraId, rate } = options;
    this.#catalogue = catalogue;
    this.#cameraId = cameraId;
    const factor = Math.max(1, rate);
    this.#slack = { seconds: TIMING_SLACK_SECONDS * factor, clockMs: CLOCK_SLACK_MS * factor };
    this.#zoneMinutes = zoneMinutesAt(nightInfoOf(catalogue)?.startUtcMs ?? utcMs(0));
  }

  /** @param clockOffsetMs  The camera's clock less ours; null: not readable. */
  noteClock(clockOffsetMs: number | null): void {
    this.#clockOffsetMs = clockOffsetMs;
  }

  /** What a picture says of itself. */
  async wordOf(bytes: Uint8Array, captureDate: string): Promise<PictureWord> {
    const dateMs = captureDateMs(captureDate, this.#zoneMinutes);
    const isDated = dateMs !== null && this.#clockOffsetMs !== null;
    return {
      exposure: await exposureInFile(bytes),
      takenUtcMs: isDated ? dateMs - this.#clockOffsetMs! : null,
    };
  }

  /** Why a picture is not the frame's that waits for it; null: it may be. */
  alibi(frame: FrameRecord | null, word: PictureWord): string | null {
    if (frame === null) return null;
    const byTime = this.alibiIn(frame, { ...word, exposure: null });
    if (byTime !== null || this.#isExposureFalse) return byTime;
    const why = this.alibiIn(frame, word);
    this.#noteDoubt(why);
    return why;
  }

  /** @param doubt  In what a picture that is its frame's by transaction contradicts it; null: in nothing. */
  noteProved(doubt: string | null): void {
    this.#noteDoubt(doubt);
  }

  #noteDoubt(doubt: string | null): void {
    this.#contradictedCount = doubt === null ? 0 : this.#contradictedCount + 1;
  }

  /** Picture after picture reported another exposure than its frame had: it says nothing then. */
  get #isExposureFalse(): boolean {
    return this.#contradictedCount >= HABIT_COUNT;
  }

  /** As `alibi`, for a picture of the card. */
  alibiIn(frame: FrameRecord, word: PictureWord): string | null {
    return alibiOf(frame, this.#believed(word), this.#slack);
  }

  /**
   * The one frame without a file whose picture this is; null: none, or more than one.
   *
   * @param beforeIndex  Frames from there on are left alone, and so are those in `given`.
   */
  owner(
    word: PictureWord,
    beforeIndex = Infinity,
    given: ReadonlySet<number> = new Set(),
  ): FrameRecord | null {
    const frames = this.#catalogue
      .frames({ cameraId: this.#cameraId, fromIndex: 0, count: Number.MAX_SAFE_INTEGER })
      .filter(
        ({ status, frameIndex }) =>
          status !== "kept" && frameIndex < beforeIndex && !given.has(frameIndex),
      );
    return ownerOf(frames, this.#believed(word), this.#slack);
  }

  /** What a picture says of itself, less what this camera's pictures say falsely. */
  #believed(word: PictureWord): PictureWord {
    return this.#isExposureFalse ? { ...word, exposure: null } : word;
  }

  /** Whether one moment is surely before another, as far as the camera's clock can tell. */
  isBefore(oneUtcMs: UtcMs, otherUtcMs: UtcMs): boolean {
    return oneUtcMs < otherUtcMs - this.#slack.clockMs;
  }

  /** Whether the night holds this very picture already, as a frame's or as a stray. */
  holds(bytes: Uint8Array): boolean {
    const sha256 = sha256Of(bytes);
    const query = { cameraId: this.#cameraId, fromIndex: 0, count: Number.MAX_SAFE_INTEGER };
    return (
      this.#catalogue.frames(query).some(({ file }) => file?.sha256 === sha256) ||
      this.#catalogue.strays().some(({ file }) => file.sha256 === sha256)
    );
  }

  /** By how much the host's own timing of an exposure may be off. */
  get slackSeconds(): number {
    return this.#slack.seconds;
  }

  get zoneMinutes(): number {
    return this.#zoneMinutes;
  }
}

/** Minutes east of UTC that this computer keeps at a moment. */
function zoneMinutesAt(at: UtcMs): number {
  return -new Date(at).getTimezoneOffset();
}
