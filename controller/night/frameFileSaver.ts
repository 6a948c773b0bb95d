import type { FrameFile, FrameRecord } from "../../core/watch/frameRecord.ts";
import { doubtOf } from "../../core/frames/proof.ts";
import { planReconciliation } from "../../core/frames/reconcile.ts";
import { utcMs, type UtcMs } from "../../core/units.ts";
import type { Catalogue } from "../archive/catalogue.ts";
import { exposureInFile } from "../imageExif.ts";
import { endingOf, frameFileName, keepFrameFile } from "../archive/frameFiles.ts";
import { nightInfoOf } from "../archive/nightFolder.ts";
import { recoveredFrame } from "../archive/recoveredFrame.ts";
import type { Camera, CameraEvent } from "../cameras/camera.ts";

type Arrival = Extract<CameraEvent, { kind: "frameArrived" }>;

/** A frame as the card has given it back, and its file. */
type Recovered = { readonly frame: FrameRecord; readonly bytes: Uint8Array };

/** Brings arrived frames onto the disk, one after another, so that none overtakes an older one. */
export class FrameFileSaver {
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
      // The caller is informed; the next frame tries the disk again.
    });
    return kept;
  }

  nameOf(frameIndex: number, cameraName = ""): string {
    return frameFileName(frameIndex, endingOf(cameraName), this.#folder);
  }

  /**
   * Fetches from the card what a break of the link kept from arriving, while the watch goes on.
   *
   * @param range  Frames from `beforeFrameIndex` on are in hand and left alone; `clockOffsetMs` as
   *   the camera's description has it; `slackSeconds` as in `contradictionOf`.
   */
  async reconcile(
    camera: Camera,
    catalogue: Catalogue,
    {
      beforeFrameIndex,
      clockOffsetMs,
      slackSeconds,
    }: {
      readonly beforeFrameIndex: number;
      readonly clockOffsetMs: number | null;
      readonly slackSeconds: number;
    },
  ): Promise<readonly Recovered[]> {
    const { cameraId } = camera;
    const cardFiles = await camera.listCard();
    const frames = catalogue
      .frames({ cameraId, fromIndex: 0, count: Number.MAX_SAFE_INTEGER })
      .filter((frame) => frame.frameIndex < beforeFrameIndex);
    const startUtcMs = nightInfoOf(catalogue)?.startUtcMs ?? utcMs(0);
    const steps = planReconciliation({
      cameraId,
      frames,
      cardFiles,
      filesOnDisk: frames.flatMap((frame) => frame.file ?? []),
      pathOf: (frameIndex, cameraName) => `frames/${this.nameOf(frameIndex, cameraName)}`,
      clockOffsetMs,
      // The clock was measured in this computer's zone, where the camera names none.
      zoneMinutes: clockOffsetMs === null ? 0 : zoneMinutesAt(startUtcMs),
      startUtcMs,
      endUtcMs: null,
    });
    const recovered: Recovered[] = [];
    for (const step of steps) {
      if (step.kind !== "fetch") continue;
      const before = frames.find(({ frameIndex }) => frameIndex === step.frameIndex)!;
      const { card } = step;
      const bytes = await camera.fetchFile(card.cameraHandle);
      const reported = await exposureInFile(bytes);
      // Taken at the frame's time and not by its exposure: somebody's own picture, which stays on the card.
      if (reported !== null && doubtOf(before, reported, slackSeconds) !== null) continue;
      const name = this.nameOf(step.frameIndex, card.cameraName);
      const file = await keepFrameFile(this.#nightDir, name, bytes);
      recovered.push({ frame: await recoveredFrame(before, { file, card, bytes }), bytes });
    }
    return recovered;
  }

  /** When every frame handed over so far is on the disk or refused. */
  async settled(): Promise<void> {
    await this.#last;
  }
}

/** Minutes east of UTC that this computer keeps at a moment. */
function zoneMinutesAt(at: UtcMs): number {
  return -new Date(at).getTimezoneOffset();
}

/** A picture is used twice: it is kept on disk, and it is metered. */
const USES = 2;

/** Pictures that have arrived, each released once it has been both kept and metered. */
export class PictureStock {
  readonly #pictures = new Map<number, { readonly jpeg: Uint8Array; usesLeft: number }>();

  get count(): number {
    return this.#pictures.size;
  }

  put(frameIndex: number, jpeg: Uint8Array): void {
    this.#pictures.set(frameIndex, { jpeg, usesLeft: USES });
  }

  jpegOf(frameIndex: number): Uint8Array | null {
    return this.#pictures.get(frameIndex)?.jpeg ?? null;
  }

  /** One of its uses is over. */
  letGo(frameIndex: number): void {
    const picture = this.#pictures.get(frameIndex);
    if (!picture) return;
    picture.usesLeft -= 1;
    if (picture.usesLeft === 0) this.#pictures.delete(frameIndex);
  }
}
