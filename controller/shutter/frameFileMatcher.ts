import type { NightError } from "../../core/errors.ts";
import type { TransactionId } from "../../core/ptp/ids.ts";
import type { ObjectInfo } from "../../core/ptp/datasets/objectInfo.ts";
import type { CameraEvent } from "../cameras/camera.ts";
import type { CameraControls } from "../../core/profiles/cameraControls.ts";
import { nightOf, type ClockOrigin, type RealTime } from "../timing/clock.ts";
import type { CameraLink } from "./cameraLink.ts";
import type { CameraTaskQueue } from "./cameraTaskQueue.ts";
import { comparisonTask, frameTask } from "./cameraTasks.ts";
import { FrameFiles } from "./awaitedFiles.ts";

/** Which task goes first; of frames the newest, for the next exposure hangs on it. */
export const RANK = {
  settings: -1,
  comparison: 0,
  events: 0.5,
  frame: (frameIndex: number): number => 2 - frameIndex / (frameIndex + 1),
  status: 3,
  card: 4,
  file: 5,
};

/** A camera is given this much real time in any case before its silence means anything. */
const GRACE_FLOOR_MS = 500;
/** Files whose names are remembered, to know a frame's second file by. */
const REMEMBERED_NAMES = 8;

const LATE_FILE = "the camera did not name a file for this frame";
const LOST_LINK = "the link was lost before the camera named the file; it may be on the card";

type FrameFileMatcherOptions = {
  /** How the connected camera is worked. */
  readonly controls: () => CameraControls;
  readonly origin: ClockOrigin;
  readonly time: RealTime;
  readonly tasks: CameraTaskQueue;
  readonly tell: (event: CameraEvent) => void;
  /** The frame that the shutter is open for, or about to be. */
  readonly exposingIndex: () => number | null;
};

/** Sees to it that every frame gets its file, or a word on why it has none. */
export class FrameFileMatcher {
  readonly #options: FrameFileMatcherOptions;
  readonly #files = new FrameFiles();
  /** Names of the latest frames' files, whole and without endings, newest last. */
  readonly #names: {
    readonly stem: string;
    readonly filename: string;
    readonly frameIndex: number;
  }[] = [];

  constructor(options: FrameFileMatcherOptions) {
    this.#options = options;
  }

  /** Files that were on the card before the first frame. */
  learn(handles: readonly number[]): void {
    this.#files.learn(handles);
  }

  forgetFile(handle: number): void {
    this.#files.forgetFile(handle);
  }

  /** A capture is about to begin; the event connection may be faster than its answer. */
  await(frameIndex: number, captureId: TransactionId, isHeldOpen: boolean): void {
    this.#files.await({ frameIndex, captureId, isHeldOpen });
  }

  /** The capture began with a later transaction than was thought. */
  nameCapture(frameIndex: number, captureId: TransactionId): void {
    this.#files.nameCapture(frameIndex, captureId);
  }

  /** The bulb is about to be closed. */
  noteClosing(frameIndex: number): void {
    this.#files.noteClosing(frameIndex);
  }

  giveUp(frameIndex: number): void {
    this.#files.giveUp(frameIndex);
  }

  /** The frame whose file this capture still owes. */
  frameOf(captureId: number): number | null {
    return this.#files.frameOf(captureId);
  }

  isAwaited(frameIndex: number): boolean {
    return this.#files.isAwaited(frameIndex);
  }

  /** The shutter has closed. @returns when the camera's silence will mean something, real time. */
  expect(frameIndex: number, closedMs: number): number {
    const lateMs = closedMs + this.#graceMs();
    this.#files.expectBy(frameIndex, lateMs);
    return lateMs;
  }

  /** The camera named a file. @returns whether it is a frame's. */
  name(link: CameraLink, handle: number, eventTransactionId: number | null): boolean {
    const named = this.#files.name(handle, eventTransactionId);
    if (named.kind !== "ofFrame") return false;
    const { frameIndex, captureId, isProved } = named;
    const { origin, tell } = this.#options;
    const task = frameTask(link, { frameIndex, handle }, link.controls, {
      tell,
      nightNow: () => nightOf(this.#options.time.nowMs(), origin),
      isOther: (info) => !isProved && this.#isOtherFrames(info, frameIndex),
      onOther: () => {
        const isOpen = this.#options.exposingIndex() === frameIndex;
        const compareAtMs = isOpen ? null : this.#options.time.nowMs() + this.#graceMs();
        const others = this.#files.awaitAgain({ frameIndex, captureId }, compareAtMs);
        for (const other of others) this.name(link, other, null);
      },
    });
    const drop = (error: NightError): void => this.#tellMissing(frameIndex, error.message);
    this.#options.tasks.add({ rank: RANK.frame(frameIndex), task, drop });
    return true;
  }

  /** Real time of the next look at the card for files that were never named; Infinity: none. */
  get compareAtMs(): number {
    return this.#files.compareAtMs ?? Infinity;
  }

  /** Looks for files that were never named. */
  compare(link: CameraLink): void {
    const { tasks } = this.#options;
    if (tasks.has(RANK.comparison)) return;
    const task = comparisonTask(link, (handles) => {
      this.#files.offerUnclaimed();
      for (const handle of handles) this.name(link, handle, null);
      const missing = this.#files.noteComparison(this.#options.time.nowMs(), this.#graceMs());
      for (const frameIndex of missing) this.#tellMissing(frameIndex, LATE_FILE);
    });
    tasks.add({ rank: RANK.comparison, task, drop: () => undefined });
  }

  /** The link is lost, and with it every handle. */
  forgetAll(exceptFrameIndex: number | null): void {
    for (const frameIndex of this.#files.forgetAll()) {
      if (frameIndex !== exceptFrameIndex) this.#tellMissing(frameIndex, LOST_LINK);
    }
  }

  /**
   * Whether a file that no transaction proves is an earlier frame's second one. Raw and JPEG share a
   * name but for its ending, so they are told from the next frame's first; a name that comes round
   * again whole, as on a card whose numbering begins again, is a new picture.
   */
  #isOtherFrames({ filename }: ObjectInfo, frameIndex: number): boolean {
    const stem = filename.replace(/\.[^.]*$/, "");
    const isOther = this.#names.some(
      (one) => one.stem === stem && one.filename !== filename && one.frameIndex !== frameIndex,
    );
    if (!isOther && stem !== "") this.#names.push({ stem, filename, frameIndex });
    if (this.#names.length > REMEMBERED_NAMES) this.#names.shift();
    return isOther;
  }

  #tellMissing(frameIndex: number, why: string): void {
    this.#options.tell({ kind: "frameMissing", frameIndex, why });
  }

  /** How long the camera may take to name a file, real milliseconds. */
  #graceMs(): number {
    return GRACE_FLOOR_MS + this.#options.controls().fileGraceMs / this.#options.origin.rate;
  }
}
