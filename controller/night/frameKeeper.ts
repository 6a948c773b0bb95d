import type { FrameFile } from "../../core/night/frameRecord.ts";
import { planReconciliation } from "../../core/frames/reconcile.ts";
import { utcMs } from "../../core/units.ts";
import type { Catalogue } from "../archive/catalogue.ts";
import { frameFileName, keepFrameFile } from "../archive/frameFiles.ts";
import { nightInfoOf } from "../archive/nightFolder.ts";
import type { Camera, CameraEvent } from "../cameras/camera.ts";

type Arrival = Extract<CameraEvent, { kind: "frameArrived" }>;

/** Brings arrived frames onto the disk, one after another, so that none overtakes an older one. */
export class FrameKeeper {
  readonly #nightDir: string;
  readonly #folder: string;
  readonly #arrivals = new Map<number, Omit<Arrival, "jpeg">>();
  #last: Promise<unknown> = Promise.resolve();

  /** @param folder  Folder inside `frames/` when several cameras share the night; else empty. */
  constructor(nightDir: string, folder = "") {
    this.#nightDir = nightDir;
    this.#folder = folder;
  }

  remember({ jpeg: _, ...arrival }: Arrival): void {
    this.#arrivals.set(arrival.frameIndex, arrival);
  }

  /** @throws NightError `archive.disk_full`, `archive.read_only`. */
  keep(frameIndex: number, jpeg: Uint8Array): Promise<FrameFile> {
    const kept = this.#last.then(async (): Promise<FrameFile> => {
      const arrival = this.#arrivals.get(frameIndex);
      const file = await keepFrameFile(this.#nightDir, this.nameOf(frameIndex), jpeg);
      this.#arrivals.delete(frameIndex);
      return {
        ...file,
        cameraName: arrival?.cameraName ?? "",
        cameraHandle: arrival?.cameraHandle ?? null,
      };
    });
    this.#last = kept.catch(() => {
      // The caller is told; the next frame tries the disk anew.
    });
    return kept;
  }

  nameOf(frameIndex: number): string {
    const name = frameFileName(frameIndex);
    return this.#folder === "" ? name : `${this.#folder}/${name}`;
  }

  /**
   * Fetches from the card what a break of the link kept from arriving, while the watch goes on.
   *
   * @param beforeFrameIndex  Frames from this one on are in hand and left alone.
   */
  async reconcile(
    camera: Camera,
    catalogue: Catalogue,
    beforeFrameIndex: number,
  ): Promise<readonly { readonly frameIndex: number; readonly file: FrameFile }[]> {
    const { cameraId } = camera;
    const cardFiles = await camera.listCard();
    const frames = catalogue
      .frames({ cameraId, fromIndex: 0, count: Number.MAX_SAFE_INTEGER })
      .filter((frame) => frame.frameIndex < beforeFrameIndex);
    const steps = planReconciliation({
      cameraId,
      frames,
      cardFiles,
      filesOnDisk: frames.flatMap((frame) => frame.file ?? []),
      pathOf: (frameIndex) => `frames/${this.nameOf(frameIndex)}`,
      clockOffsetMs: null,
      startUtcMs: nightInfoOf(catalogue)?.startUtcMs ?? utcMs(0),
      endUtcMs: null,
    });
    const found: { frameIndex: number; file: FrameFile }[] = [];
    for (const step of steps) {
      if (step.kind !== "fetch") continue;
      const bytes = await camera.fetchFile(step.card.cameraHandle);
      const file = await keepFrameFile(this.#nightDir, this.nameOf(step.frameIndex), bytes);
      const { cameraName, cameraHandle } = step.card;
      found.push({ frameIndex: step.frameIndex, file: { ...file, cameraName, cameraHandle } });
    }
    return found;
  }

  /** When every frame handed over so far is on the disk or refused. */
  async settled(): Promise<void> {
    await this.#last;
  }
}
