/** A frame that was exposed and whose file the camera has not named yet. */
type Awaited = {
  readonly frameIndex: number;
  /** Transaction that began the capture; events may carry it. */
  captureId: number;
  /** Its bulb is open: a file that names another transaction, or none, is not this frame's. */
  isHeldOpen: boolean;
  /** Real time after which the card is compared with what is known; null: the shutter is open. */
  compareAtMs: number | null;
  comparisons: number;
};

/** Comparisons before a frame counts as missing, each after twice the time of the one before. */
const COMPARISONS_MAX = 3;
const REMEMBERED_CAPTURES = 32;

/** A frame and the transaction that began its capture. */
type FrameCapture = { readonly frameIndex: number; readonly captureId: number };

/** A file that is this frame's. */
type OfFrame = {
  readonly kind: "ofFrame";
  readonly frameIndex: number;
  readonly captureId: number;
};

/** What became of a file that the camera named. */
type NamedFile =
  | OfFrame
  /** No transaction tells whose it is: one of these frames', the oldest first, if it is a picture. */
  | { readonly kind: "byOrder"; readonly frameIndexes: readonly number[] }
  /** A second file of a frame that has one, as raw and JPEG come in pairs. */
  | { readonly kind: "companion"; readonly frameIndex: number }
  /** Named before. */
  | { readonly kind: "known" }
  /** Nobody waits for it: taken by hand, or by an earlier connection. */
  | { readonly kind: "foreign" };

/**
 * Knows which files are on the card and which frames still wait for theirs, and brings the two
 * together, by the event's transaction where it means something, else in the order of exposure.
 */
export class FrameFiles {
  readonly #known = new Set<number>();
  readonly #awaited: Awaited[] = [];
  /** Files that came since the latest capture began and were nobody's, or nobody's yet. */
  #unclaimed: number[] = [];
  readonly #served: FrameCapture[] = [];
  /** Captures whose frames were given up: a file that names one is that frame's, however late. */
  readonly #givenUp: FrameCapture[] = [];

  /** Files that were there before the first frame. */
  learn(handles: Iterable<number>): void {
    for (const handle of handles) this.#known.add(handle);
  }

  forgetFile(handle: number): void {
    this.#known.delete(handle);
  }

  /** A capture has begun; `isHeldOpen`: as a bulb, until `noteClosing`. */
  await(frame: {
    readonly frameIndex: number;
    readonly captureId: number;
    readonly isHeldOpen: boolean;
  }): void {
    this.#awaited.push({ ...frame, compareAtMs: null, comparisons: 0 });
    this.#unclaimed = [];
  }

  /** What was tried first did not begin the capture: a later transaction did. */
  nameCapture(frameIndex: number, captureId: number): void {
    const frame = this.#awaited.find((awaited) => awaited.frameIndex === frameIndex);
    if (frame) frame.captureId = captureId;
  }

  /** The bulb is about to be closed: from here on the camera may name the file. */
  noteClosing(frameIndex: number): void {
    const frame = this.#awaited.find((awaited) => awaited.frameIndex === frameIndex);
    if (frame) frame.isHeldOpen = false;
  }

  /** The capture is over: from here on the camera may be late. */
  expectBy(frameIndex: number, compareAtMs: number): void {
    this.noteClosing(frameIndex);
    const frame = this.#awaited.find((awaited) => awaited.frameIndex === frameIndex);
    if (frame) frame.compareAtMs = compareAtMs;
  }

  /** The capture did not come to anything. */
  giveUp(frameIndex: number): void {
    const at = this.#awaited.findIndex((awaited) => awaited.frameIndex === frameIndex);
    if (at >= 0) this.#awaited.splice(at, 1);
  }

  /** The frame that this capture is to bring; null: none that still waits. */
  frameOf(captureId: number): number | null {
    const frame = this.#awaited.find((awaited) => awaited.captureId === captureId);
    return frame?.frameIndex ?? null;
  }

  /** The capture that brought this frame a file of late; null: none that is remembered. */
  captureOf(frameIndex: number): number | null {
    return this.#served.findLast((served) => served.frameIndex === frameIndex)?.captureId ?? null;
  }

  isAwaited(frameIndex: number): boolean {
    return this.#awaited.some((awaited) => awaited.frameIndex === frameIndex);
  }

  /** The camera named a file, or a comparison of the card found it. */
  name(handle: number, eventTransactionId: number | null): NamedFile {
    if (this.#known.has(handle)) return { kind: "known" };
    this.#known.add(handle);
    const isSame = (one: { captureId: number }): boolean => one.captureId === eventTransactionId;
    const served = this.#served.findLast(isSame);
    if (served && !this.#awaited.some(isSame)) {
      return { kind: "companion", frameIndex: served.frameIndex };
    }
    const late = this.#givenUp.findIndex(isSame);
    if (late >= 0) {
      const [{ frameIndex, captureId }] = this.#givenUp.splice(late, 1) as [FrameCapture];
      this.#serve({ frameIndex, captureId });
      return { kind: "ofFrame", frameIndex, captureId };
    }
    const own = this.#awaited.find(isSame);
    if (own) return this.#give(own);
    const frameIndexes = this.#awaited.flatMap((one) => (one.isHeldOpen ? [] : one.frameIndex));
    if (frameIndexes.length > 0) return { kind: "byOrder", frameIndexes };
    this.#unclaimed.push(handle);
    return { kind: "foreign" };
  }

  /**
   * A file that was named while these frames waited is a picture of its own: the first of them that
   * still waits takes it; with none left it is nobody's, or nobody's yet.
   */
  claim(handle: number, frameIndexes: readonly number[]): NamedFile {
    const frame = this.#awaited.find(({ frameIndex }) => frameIndexes.includes(frameIndex));
    if (frame) return this.#give(frame);
    this.#unclaimed.push(handle);
    return { kind: "foreign" };
  }

  #give(frame: Awaited): OfFrame {
    this.#awaited.splice(this.#awaited.indexOf(frame), 1);
    const { frameIndex, captureId } = frame;
    this.#serve({ frameIndex, captureId });
    return { kind: "ofFrame", frameIndex, captureId };
  }

  #serve(capture: FrameCapture): void {
    this.#served.push(capture);
    if (this.#served.length > REMEMBERED_CAPTURES) this.#served.shift();
  }

  /**
   * The named file was not this frame's picture: it waits on; `compareAtMs` as in `expectBy`.
   *
   * @returns files that came since and may be it, to be named again.
   */
  awaitAgain(
    frame: { readonly frameIndex: number; readonly captureId: number },
    compareAtMs: number | null,
  ): readonly number[] {
    const at = this.#served.findIndex((served) => served.frameIndex === frame.frameIndex);
    if (at >= 0) this.#served.splice(at, 1);
    this.#awaited.unshift({ ...frame, isHeldOpen: false, compareAtMs, comparisons: 0 });
    return this.offerUnclaimed();
  }

  /** Files that were nobody's may be named again: a frame without its own may take one. */
  offerUnclaimed(): readonly number[] {
    const unclaimed = this.#unclaimed;
    this.#unclaimed = [];
    for (const handle of unclaimed) this.#known.delete(handle);
    return unclaimed;
  }

  /** Real time at which the next comparison is due; null: none. */
  get compareAtMs(): number | null {
    const times = this.#awaited.flatMap(({ compareAtMs }) => compareAtMs ?? []);
    return times.length === 0 ? null : Math.min(...times);
  }

  /** A comparison was made and found nothing for these. @returns the frames that are missing. */
  noteComparison(nowMs: number, graceMs: number): readonly number[] {
    const missing: number[] = [];
    for (const frame of [...this.#awaited]) {
      if (frame.compareAtMs === null || frame.compareAtMs > nowMs) continue;
      frame.comparisons += 1;
      frame.compareAtMs = nowMs + graceMs * 2 ** frame.comparisons;
      if (frame.comparisons < COMPARISONS_MAX) continue;
      missing.push(frame.frameIndex);
      this.giveUp(frame.frameIndex);
      this.#givenUp.push({ frameIndex: frame.frameIndex, captureId: frame.captureId });
      if (this.#givenUp.length > REMEMBERED_CAPTURES) this.#givenUp.shift();
    }
    return missing;
  }

  /** The link is lost and every handle with it. @returns the frames whose file was not named. */
  forgetAll(): readonly number[] {
    const missing = this.#awaited.map(({ frameIndex }) => frameIndex);
    this.#known.clear();
    this.#served.length = 0;
    this.#givenUp.length = 0;
    this.#awaited.length = 0;
    this.#unclaimed = [];
    return missing;
  }
}
