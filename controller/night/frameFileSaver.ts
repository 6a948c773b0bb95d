import type { FrameFile, FrameRecord } from "../../core/watch/frameRecord.ts";
import { planReconciliation } from "../../core/frames/reconcile.ts";
import { isSameObject, type Stray } from "../../core/frames/stray.ts";
import { utcMs } from "../../core/units.ts";
import type { Catalogue } from "../archive/catalogue.ts";
import { endingOf, frameFileName, keepFrameFile } from "../archive/frameFiles.ts";
import { nightInfoOf } from "../archive/nightFolder.ts";
import { recoveredFrame } from "../archive/recoveredFrame.ts";
import { keepStray } from "../archive/strayFiles.ts";
import type { Camera, CameraEvent } from "../cameras/camera.ts";
import type { Clock } from "../timing/clock.ts";
import type { FrameFinder } from "./frameFinder.ts";

type Arrival = Extract<CameraEvent, { kind: "frameArrived" }>;

type StrayKeeping = {
  readonly camera: Camera;
  readonly catalogue: Catalogue;
  readonly clock: Pick<Clock, "utcMs">;
};

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

  /** Whether a transaction says that the picture in hand is this frame's. */
  isProved(frameIndex: number): boolean {
    const arrival = this.#arrivals.get(frameIndex);
    return arrival !== undefined && arrival.isProved !== false;
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
   * Fetches from the card what a break of the link kept from arriving, while the watch goes on. What
   * is no frame's by any proof is kept as a stray.
   *
   * @param range  Frames from `beforeFrameIndex` on are in hand and left alone; `clockOffsetMs` as
   *   the camera's description has it.
   */
  async reconcile(
    { camera, catalogue, clock }: StrayKeeping,
    {
      beforeFrameIndex,
      clockOffsetMs,
      finder,
    }: {
      readonly beforeFrameIndex: number;
      readonly clockOffsetMs: number | null;
      readonly finder: FrameFinder;
    },
  ): Promise<{ readonly recovered: readonly Recovered[]; readonly strays: readonly Stray[] }> {
    const { cameraId } = camera;
    const listedUtcMs = clock.utcMs();
    const listed = await camera.listCard();
    const known = catalogue.strays();
    const all = catalogue.frames({ cameraId, fromIndex: 0, count: Number.MAX_SAFE_INTEGER });
    const frames = all.filter((frame) => frame.frameIndex < beforeFrameIndex);
    const inHand = all.slice(frames.length).flatMap(({ openedUtcMs }) => openedUtcMs ?? []);
    const endUtcMs = utcMs(Math.min(listedUtcMs, ...inHand));
    const steps = planReconciliation({
      cameraId,
      frames,
      cardFiles: listed.filter((entry) => !known.some(({ card }) => isSameObject(card, entry))),
      filesOnDisk: frames.flatMap((frame) => frame.file ?? []),
      pathOf: (frameIndex, cameraName) => `frames/${this.nameOf(frameIndex, cameraName)}`,
      clockOffsetMs,
      // The clock was measured in this computer's zone, where the camera names none.
      zoneMinutes: clockOffsetMs === null ? 0 : finder.zoneMinutes,
      startUtcMs: nightInfoOf(catalogue)?.startUtcMs ?? utcMs(0),
      endUtcMs: null,
    });
    const found = { recovered: [] as Recovered[], strays: [] as Stray[] };
    const given = new Set(
      steps.flatMap((step) => (step.kind === "fetch" ? [step.frameIndex] : [])),
    );
    for (const step of steps) {
      if (step.kind !== "fetch" && step.kind !== "addFrame") continue;
      // So new that it may be the picture of a frame in hand.
      if (step.kind === "addFrame" && !finder.isBefore(step.openedUtcMs, endUtcMs)) continue;
      const { card } = step;
      const bytes = await camera.fetchFile(card.cameraHandle);
      const word = await finder.wordOf(bytes, card.captureDate);
      const its =
        step.kind === "fetch"
          ? frames.find(({ frameIndex }) => frameIndex === step.frameIndex)!
          : null;
      const why = its ? finder.alibiIn(its, word) : "no frame was being taken then";
      const owner = why === null ? its : finder.owner(word, beforeFrameIndex, given);
      if (owner === null) {
        const stray = { card, why: why!, bytes };
        found.strays.push(await this.keepStray({ camera, catalogue, clock }, stray));
        continue;
      }
      given.add(owner.frameIndex);
      const name = this.nameOf(owner.frameIndex, card.cameraName);
      const file = await keepFrameFile(this.#nightDir, name, bytes);
      found.recovered.push({ frame: await recoveredFrame(owner, { file, card, bytes }), bytes });
    }
    return found;
  }

  /** @throws NightError `archive.disk_full`, `archive.read_only`. */
  async keepStray(
    { camera, catalogue, clock }: StrayKeeping,
    { card, why, bytes }: Pick<Stray, "card" | "why"> & { readonly bytes: Uint8Array },
  ): Promise<Stray> {
    const about = { cameraId: camera.cameraId, card, why, foundUtcMs: clock.utcMs() };
    return await keepStray(catalogue, about, bytes);
  }

  /** When every frame handed over so far is on the disk or refused. */
  async settled(): Promise<void> {
    await this.#last;
  }
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
