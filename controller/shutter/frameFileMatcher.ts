import type { NightError } from "../../core/errors.ts";
import type { TransactionId } from "../../core/ptp/ids.ts";
import type { ObjectInfo } from "../../core/ptp/datasets/objectInfo.ts";
import type { CameraEvent } from "../cameras/camera.ts";
import type { CameraControls } from "../../core/profiles/cameraControls.ts";
import { nightOf, type ClockOrigin, type RealTime } from "../timing/clock.ts";
import type { CameraLink } from "./cameraLink.ts";
import type { CameraTaskQueue } from "./cameraTaskQueue.ts";
import { comparisonTask, frameTask, identifyTask, type Unplaced } from "./cameraTasks.ts";
import { FrameFiles } from "./awaitedFiles.ts";
import { isPicture } from "./fetchPreview.ts";

/** Which task goes first; of frames the newest, for the next exposure hangs on it. */
export const RANK = {
  settings: -1,
  comparison: 0,
  events: 0.5,
  identify: 0.75,
  frame: (frameIndex: number): number => 2 - frameIndex / (frameIndex + 1),
  status: 3,
  card: 4,
  file: 5,
};

/** A camera is given this much real time in any case before its silence means anything. */
const GRACE_FLOOR_MS = 500;
/** Files that are remembered, to know a frame's second file by. */
const REMEMBERED_FILES = 8;

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
  /** A file that no transaction names turned out to be a frame's. */
  readonly onPlaced: () => void;
};

/** Sees to it that every frame gets its file, or a word on why it has none. */
export class FrameFileMatcher {
  readonly #options: FrameFileMatcherOptions;
  readonly #files = new FrameFiles();
  /** The latest frames' files that no transaction proved, newest last. */
  readonly #firstFiles: ObjectInfo[] = [];
  /** Files that are still to be known for what they are, in the order in which they were named. */
  #unplaced: Unplaced[] = [];
  /** The card was compared, and what it showed is still being looked at. */
  #isComparing = false;
  /** Why a file's description could not be had. */
  #unreadable: NightError | null = null;

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
  await(frameIndex: number, captureId: TransactionId, kind: "bulb" | "timed"): void {
    this.#files.await({ frameIndex, captureId, isHeldOpen: kind === "bulb" });
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

  /** The camera named a file. @returns whether it is a frame's, or may be. */
  name(link: CameraLink, handle: number, eventTransactionId: number | null): boolean {
    const named = this.#files.name(handle, eventTransactionId);
    if (named.kind === "ofFrame")
      this.#fetch(link, { ...named, handle, info: null, isProved: true });
    if (named.kind === "byOrder") {
      this.#identify(link, {
        handle,
        place: (info) => this.#place(link, { handle, info, frameIndexes: named.frameIndexes }),
        fail: (error) => {
          this.#unreadable = error;
          this.#files.claim(handle, []);
        },
      });
    }
    return named.kind === "ofFrame" || named.kind === "byOrder";
  }

  #fetch(
    link: CameraLink,
    {
      frameIndex,
      captureId,
      ...file
    }: {
      readonly frameIndex: number;
      readonly captureId: number;
      readonly handle: number;
      readonly info: ObjectInfo | null;
      /** A transaction says that it is this frame's; else only the order of exposure does. */
      readonly isProved: boolean;
    },
  ): void {
    const { origin, tell } = this.#options;
    const task = frameTask(link, { frameIndex, ...file }, link.controls, {
      tell,
      nightNow: () => nightOf(this.#options.time.nowMs(), origin),
      onOther: () => this.#awaitAgain(link, { frameIndex, captureId }),
    });
    const drop = (error: NightError): void => this.#tellMissing(frameIndex, error.message);
    this.#options.tasks.add({ rank: RANK.frame(frameIndex), task, drop });
  }

  #identify(link: CameraLink, file: Unplaced): void {
    this.#unplaced.push(file);
    const { tasks } = this.#options;
    if (tasks.has(RANK.identify)) return;
    const task = identifyTask(link, () => this.#nextUnplaced());
    tasks.add({ rank: RANK.identify, task, drop: () => undefined });
  }

  /** What no transaction proves goes by the order of exposure, unless it is an earlier one's second. */
  #place(
    link: CameraLink,
    {
      handle,
      info,
      frameIndexes,
    }: {
      readonly handle: number;
      readonly info: ObjectInfo;
      readonly frameIndexes: readonly number[];
    },
  ): void {
    if (!isPicture(info) || this.#isSecondFile(info)) return;
    const placed = this.#files.claim(handle, frameIndexes);
    if (placed.kind !== "ofFrame") return;
    this.#remember(info);
    this.#fetch(link, { ...placed, handle, info, isProved: false });
    this.#options.onPlaced();
  }

  /** The picture that was brought for a frame turned out to be another's: it waits for its own. */
  awaitAgain(link: CameraLink, frameIndex: number): void {
    const captureId = this.#files.captureOf(frameIndex);
    if (captureId === null) this.#tellMissing(frameIndex, LATE_FILE);
    else this.#awaitAgain(link, { frameIndex, captureId });
  }

  #awaitAgain(
    link: CameraLink,
    frame: { readonly frameIndex: number; readonly captureId: number },
  ): void {
    const isOpen = this.#options.exposingIndex() === frame.frameIndex;
    const compareAtMs = isOpen ? null : this.#options.time.nowMs() + this.#graceMs();
    for (const other of this.#files.awaitAgain(frame, compareAtMs)) this.name(link, other, null);
  }

  /** Real time of the next look at the card for files that were never named; Infinity: none yet. */
  get compareAtMs(): number {
    return this.#isComparing ? Infinity : (this.#files.compareAtMs ?? Infinity);
  }

  /** What was named while nobody waited for it is looked at again. */
  offerUnclaimed(link: CameraLink): void {
    for (const handle of this.#files.offerUnclaimed()) this.name(link, handle, null);
  }

  /** Looks for files that were never named. */
  compare(link: CameraLink): void {
    const { tasks } = this.#options;
    if (tasks.has(RANK.comparison) || this.#isComparing) return;
    const task = comparisonTask(link, (handles) => {
      this.#files.offerUnclaimed();
      for (const handle of handles) this.name(link, handle, null);
      // A frame is missing only once every file is known for what it is.
      if (this.#unplaced.length === 0) this.#noteComparison();
      else this.#isComparing = true;
    });
    tasks.add({ rank: RANK.comparison, task, drop: () => undefined });
  }

  #noteComparison(): void {
    this.#isComparing = false;
    const missing = this.#files.noteComparison(this.#options.time.nowMs(), this.#graceMs());
    for (const frameIndex of missing) {
      this.#tellMissing(frameIndex, this.#unreadable?.message ?? LATE_FILE);
    }
  }

  /** The next file to be placed; a comparison is over when there is none left. */
  #nextUnplaced(): Unplaced | null {
    const next = this.#unplaced.shift() ?? null;
    if (next === null && this.#isComparing) this.#noteComparison();
    return next;
  }

  /** The link is lost, and with it every handle. */
  forgetAll(exceptFrameIndex: number | null): void {
    this.#unplaced = [];
    this.#isComparing = false;
    this.#unreadable = null;
    for (const frameIndex of this.#files.forgetAll()) {
      if (frameIndex !== exceptFrameIndex) this.#tellMissing(frameIndex, LOST_LINK);
    }
  }

  /**
   * Whether a file that no transaction proves is the second one of a frame that has its first. Raw
   * and JPEG share a name but for its ending; a name that comes round again whole, as on a card
   * whose numbering begins again, is a new picture. Files without names share their moment.
   */
  #isSecondFile({ filename, captureDate, objectFormat }: ObjectInfo): boolean {
    const stem = stemOf(filename);
    return this.#firstFiles.some((first) =>
      stem === ""
        ? first.filename === "" &&
          captureDate !== "" &&
          first.captureDate === captureDate &&
          first.objectFormat !== objectFormat
        : first.filename !== filename && stemOf(first.filename) === stem,
    );
  }

  #remember(info: ObjectInfo): void {
    this.#firstFiles.push(info);
    if (this.#firstFiles.length > REMEMBERED_FILES) this.#firstFiles.shift();
  }

  #tellMissing(frameIndex: number, why: string): void {
    this.#options.tell({ kind: "frameMissing", frameIndex, why });
  }

  /**
   * How long the camera may take to name a file, real milliseconds. However fast the night goes, a
   * simulated camera makes its picture in real time.
   */
  #graceMs(): number {
    return GRACE_FLOOR_MS + this.#options.controls().fileGraceMs;
  }
}

function stemOf(filename: string): string {
  return filename.replace(/\.[^.]*$/, "");
}
