import type { WatchView } from "../../core/api/messages.ts";
import type { FrameRecord } from "../../core/night/frameRecord.ts";
import { storyLine } from "./storyLine.ts";

/** What the terminal tells of a night: each metered frame once, each new trouble once. */
export class TerminalStory {
  readonly #print: (line: string) => void;
  readonly #hasSeveralCameras: boolean;
  readonly #told = new Set<string>();
  readonly #sentences = new Map<string, string>();

  constructor(print: (line: string) => void, cameraIds: readonly string[]) {
    this.#print = print;
    this.#hasSeveralCameras = cameraIds.length > 1;
  }

  /** A frame is whole on disk, or its reading has come. @returns whether it was told now. */
  frame(frame: FrameRecord): boolean {
    const key = `${frame.cameraId}/${frame.frameIndex}`;
    if (frame.reading === null || this.#told.has(key)) return false;
    this.#told.add(key);
    this.#print(storyLine(frame, this.#hasSeveralCameras ? frame.cameraId : null));
    return true;
  }

  /** A watch stands differently. */
  watch({ cameraId, sentence, allIsWell, phase }: WatchView): void {
    if (this.#sentences.get(cameraId) === sentence) return;
    this.#sentences.set(cameraId, sentence);
    if (!allIsWell || phase === "finished") this.#print(sentence);
  }
}
