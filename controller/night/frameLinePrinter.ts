import type { StateNotice, WatchView } from "../../core/api/messages.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import type { StateKind } from "../../core/words/stateWords.ts";
import type { FrameCounts } from "./frameCounts.ts";
import { missingLine, frameLine } from "./frameLine.ts";

/** Lines that wait for an earlier frame's; a frame that never comes holds up no more than these. */
const WAITING_COUNT_MAX = 4;

/** The lines of one camera's frames: files are flushed side by side, the lines come in order. */
type FrameLines = { nextIndex: number; readonly waiting: Map<number, string> };

/** What the terminal shows of a night: each metered frame once and in order, each new trouble once. */
export class FrameLinePrinter {
  readonly #print: (line: string) => void;
  readonly #hasSeveralCameras: boolean;
  readonly #lines = new Map<string, FrameLines>();
  readonly #printed = new Set<string>();
  readonly #states = new Map<string, string>();
  readonly #missing = new Set<string>();

  constructor(print: (line: string) => void, cameraIds: readonly string[]) {
    this.#print = print;
    this.#hasSeveralCameras = cameraIds.length > 1;
  }

  /** A frame is whole on disk, or its reading has come. @returns whether it is news. */
  frame(frame: FrameRecord): boolean {
    const { cameraId, frameIndex } = frame;
    const key = `${cameraId}/${frameIndex}`;
    if (frame.reading === null || this.#printed.has(key)) return false;
    this.#printed.add(key);
    const lines = this.#linesFrom(cameraId, frameIndex);
    lines.waiting.set(frameIndex, frameLine(frame, this.#hasSeveralCameras ? cameraId : null));
    this.#tell(lines, WAITING_COUNT_MAX);
    return true;
  }

  /** No picture came of a frame. */
  missing(cameraId: string, frameIndex: number, why: string): void {
    const key = `${cameraId}/${frameIndex}`;
    if (this.#printed.has(key) || this.#missing.has(key)) return;
    this.#missing.add(key);
    const lines = this.#linesFrom(cameraId, frameIndex);
    lines.waiting.set(
      frameIndex,
      missingLine(frameIndex, why, this.#hasSeveralCameras ? cameraId : null),
    );
    this.#tell(lines, WAITING_COUNT_MAX);
  }

  /** Frames printed with a picture, and frames printed as having none. */
  get counts(): FrameCounts {
    return { metered: this.#printed.size, missing: this.#missing.size };
  }

  /** A watch stands differently: each new state that is not plain sailing is reported once. */
  watch({ cameraId, states, phase, frameCount }: WatchView): void {
    const lines = this.#linesFrom(cameraId, frameCount);
    const state = states[0]!;
    const key = newsKey(state);
    if (this.#states.get(cameraId) === key) return;
    this.#states.set(cameraId, key);
    if (phase === "finished") this.#tell(lines, 0);
    if (!UNPRINTED.has(state.kind)) this.#print(`${state.sign} ${state.sentence}`);
  }

  #linesFrom(cameraId: string, firstIndex: number): FrameLines {
    const known = this.#lines.get(cameraId);
    if (known) return known;
    const lines = { nextIndex: firstIndex, waiting: new Map<number, string>() };
    this.#lines.set(cameraId, lines);
    return lines;
  }

  /** Prints what is due, and passes over what keeps more than `waitingCountMax` lines waiting. */
  #tell(lines: FrameLines, waitingCountMax: number): void {
    const { waiting } = lines;
    const inOrder = [...waiting].sort(([one], [other]) => one - other);
    for (const [frameIndex, line] of inOrder) {
      if (frameIndex > lines.nextIndex && waiting.size <= waitingCountMax) return;
      this.#print(line);
      waiting.delete(frameIndex);
      lines.nextIndex = Math.max(lines.nextIndex, frameIndex + 1);
    }
  }
}

/** What the lines of frames show by themselves, and what passes in a moment. */
const UNPRINTED: ReadonlySet<StateKind> = new Set<StateKind>(["well", "skyActs"]);

/** The same for as long as a state lasts, though its sentence counts minutes and frames. */
function newsKey({ kind, sinceUtcMs, sentence }: StateNotice): string {
  if (sinceUtcMs !== null) return `${kind} ${sinceUtcMs}`;
  return kind === "nothingWatches" || kind === "waiting" ? `${kind} ${headOf(sentence)}` : kind;
}

/** Up to the figures, which change from minute to minute. */
function headOf(sentence: string): string {
  return sentence.split(":")[0]!;
}
