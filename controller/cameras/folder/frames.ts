import { watch, type FSWatcher } from "node:fs";
import { readdir, readFile, stat } from "node:fs/promises";
import { basename, extname, join } from "node:path";
import { asNightError, NightError } from "../../../core/errors.ts";
import type { Clock } from "../../timing/clock.ts";
import { realMs } from "../../timing/clock.ts";
import type { CameraEvent, CardFile } from "../camera.ts";
import { readJpegTimes, readPicture, UNFINISHED, type FolderPicture } from "./folderPicture.ts";
import { pairFile, type AwaitedFrame } from "./pairing.ts";

export type FolderFramesOptions = {
  readonly folder: string;
  readonly clock: Clock;
  readonly tell: (event: CameraEvent) => void;
  /** How long a frame's file may take after the shutter has closed, real milliseconds. */
  readonly fileMsMax?: number;
  /** Pause between two looks, real milliseconds. */
  readonly pollMs?: number;
};

/**
 * Cards with radio, and programs that copy, take their time; no source. A watch that has ended waits
 * a little longer than this for its last frames.
 */
const FILE_MS_MAX = 90_000;
const POLL_MS = 400;
/** A file that has not grown for so long and still has no end never will. */
const UNFINISHED_MS_MAX = 30_000;
/** Looks in a row at which a file must have kept its size. */
const CALM_LOOKS = 2;

/** A file that is not known to be whole yet. */
type Growing = { readonly bytes: number; readonly calmLooks: number; readonly sinceMs: number };

type Waiting = AwaitedFrame & { readonly lateMs: number };

/**
 * Brings frames out of a folder into which a camera's files arrive by some other way: a copying
 * program, a card with radio, the maker's own link.
 */
export class FolderFrames {
  readonly #options: FolderFramesOptions;
  /** Files that were there before, that were handled, or that are nobody's. */
  readonly #known = new Set<string>();
  readonly #growing = new Map<string, Growing>();
  /** Paths by the number that stands for them outside, one more than the index. */
  readonly #paths: string[] = [];
  readonly #frameOfStem = new Map<string, number>();
  #awaited: readonly Waiting[] = [];
  #clockOffsetMs: number | null = null;
  #watcher: FSWatcher | null = null;
  #timer: NodeJS.Timeout | null = null;
  #looking: Promise<void> | null = null;
  #isClosed = false;

  constructor(options: FolderFramesOptions) {
    this.#options = options;
  }

  /** Camera clock less ours, as the latest file shows it; null: not known. */
  get clockOffsetMs(): number | null {
    return this.#clockOffsetMs;
  }

  /**
   * Learns what is there already, and begins to look; called again it changes nothing, so that what
   * came during a break of the contact still finds its frame.
   * @throws NightError `settings.invalid` when there is no such folder.
   */
  async start(): Promise<void> {
    const { folder, pollMs = POLL_MS } = this.#options;
    const paths = await this.#list();
    if (this.#timer || this.#isClosed) return;
    for (const path of paths) this.#known.add(path);
    try {
      this.#watcher = watch(folder, () => void this.look());
      this.#watcher.on("error", () => this.#watcher?.close());
    } catch {
      // Some file systems cannot be watched; looking now and then does the same, a little later.
      this.#watcher = null;
    }
    this.#timer = setInterval(() => void this.look(), pollMs);
  }

  /** The shutter has closed on a frame; its file is expected from now on. */
  await(frame: AwaitedFrame): void {
    const lateMs = realMs() + (this.#options.fileMsMax ?? FILE_MS_MAX);
    this.#awaited = [...this.#awaited, { ...frame, lateMs }];
  }

  /** Takes one look at the folder; looks do not overlap. */
  async look(): Promise<void> {
    this.#looking ??= this.#look().finally(() => (this.#looking = null));
    await this.#looking;
  }

  /** Whole JPEG files of the folder; raw files stay where they are and are nobody's preview. */
  async listCard(): Promise<readonly CardFile[]> {
    const files: CardFile[] = [];
    for (const path of await this.#list()) {
      if (!/^\.jpe?g$/i.test(extname(path))) continue;
      const info = await stat(path).catch(() => null);
      const times = await readJpegTimes(path).catch(() => null);
      if (info === null || times === null) continue;
      files.push({
        cameraHandle: this.#numberOf(path),
        cameraName: basename(path),
        bytes: info.size,
        captureDate: captureDateOf(times.captureMs),
      });
    }
    return files;
  }

  async fetchFile(handle: number): Promise<Uint8Array> {
    const path = this.#paths[handle - 1];
    if (path === undefined) throw new NightError("camera.frame_missing", "There is no such file.");
    return await readFile(path).catch((error: unknown) => {
      throw new NightError(
        "camera.frame_missing",
        `${basename(path)} cannot be read`,
        {},
        { cause: error },
      );
    });
  }

  async close(): Promise<void> {
    this.#isClosed = true;
    this.#stop();
    await this.#looking;
  }

  #stop(): void {
    this.#watcher?.close();
    this.#watcher = null;
    if (this.#timer) clearInterval(this.#timer);
    this.#timer = null;
  }

  async #look(): Promise<void> {
    try {
      const paths = await this.#list();
      for (const path of paths) {
        if (!this.#known.has(path) && !this.#isClosed) await this.#consider(path);
      }
    } catch (thrown) {
      const { code, message: sentence } = asNightError(thrown, "camera.gone");
      if (!this.#isClosed) {
        this.#options.tell({ kind: "failed", code, sentence, frameIndex: null, gone: false });
      }
    }
    this.#giveUpLate();
  }

  /** Waits until a file has stopped growing and is whole, then hands it on. */
  async #consider(path: string): Promise<void> {
    const info = await stat(path).catch(() => null);
    if (info === null) return void this.#growing.delete(path);
    const before = this.#growing.get(path);
    const isCalm = before !== undefined && before.bytes === info.size;
    const calmLooks = isCalm ? before.calmLooks + 1 : 0;
    const sinceMs = isCalm ? before.sinceMs : realMs();
    this.#growing.set(path, { bytes: info.size, calmLooks, sinceMs });
    if (calmLooks < CALM_LOOKS) return;
    const file = await readPicture(path).catch(() => UNFINISHED);
    if (file.kind === "unfinished") {
      if (realMs() - sinceMs > UNFINISHED_MS_MAX) this.#settle(path);
      return;
    }
    this.#settle(path);
    if (file.kind === "picture") this.#handOn(path, file.picture);
  }

  #settle(path: string): void {
    this.#growing.delete(path);
    this.#known.add(path);
  }

  #handOn(path: string, picture: FolderPicture): void {
    // Raw and JPEG of one frame share a name: the first that is whole serves.
    const stem = path.slice(0, path.length - extname(path).length);
    if (this.#frameOfStem.has(stem)) return;
    const pairing = pairFile(picture, this.#awaited, this.#clockOffsetMs);
    if (pairing === null) return;
    const { frameIndex } = pairing;
    this.#frameOfStem.set(stem, frameIndex);
    this.#awaited = this.#awaited.filter((frame) => frame.frameIndex !== frameIndex);
    this.#clockOffsetMs = pairing.offsetMs ?? this.#clockOffsetMs;
    this.#options.tell({
      kind: "frameArrived",
      frameIndex,
      atMs: this.#options.clock.monotonicMs(),
      cameraName: basename(path),
      cameraHandle: this.#numberOf(path),
      captureDate: captureDateOf(picture.captureMs),
      jpeg: picture.jpeg,
      isOriginal: picture.isOriginal,
    });
  }

  #giveUpLate(): void {
    const late = this.#awaited.filter((frame) => frame.lateMs <= realMs());
    if (late.length === 0) return;
    this.#awaited = this.#awaited.filter((frame) => frame.lateMs > realMs());
    for (const { frameIndex } of late) {
      const why = "no file for this frame came into the folder";
      this.#options.tell({ kind: "frameMissing", frameIndex, why });
    }
  }

  async #list(): Promise<readonly string[]> {
    const { folder } = this.#options;
    const entries = await readdir(folder, { withFileTypes: true, recursive: true }).catch(
      (error: unknown) => {
        throw new NightError(
          "settings.invalid",
          `The folder ${folder}, into which frames should come, cannot be read.`,
          {},
          { cause: error },
        );
      },
    );
    return entries
      .filter((entry) => entry.isFile() && !entry.name.startsWith("."))
      .map((entry) => join(entry.parentPath, entry.name))
      .sort();
  }

  #numberOf(path: string): number {
    const at = this.#paths.indexOf(path);
    return at >= 0 ? at + 1 : this.#paths.push(path);
  }
}

/** As the protocol writes dates: `20270324T181500`. */
function captureDateOf(captureMs: number | null): string {
  if (captureMs === null) return "";
  return new Date(captureMs).toISOString().slice(0, 19).replace(/[-:]/g, "");
}
